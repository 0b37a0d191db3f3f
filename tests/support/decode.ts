/** Feeds a decoder as a socket would, in the chunks that a test chooses. */
import type { Decoder } from '../../src/probe/decoding.ts';

/** The values that a stream of these chunks gives. Ends where the bytes end, with an error where they are broken. */
export function decodeAll<T>(decode: Decoder<T>, chunks: readonly Uint8Array[]): readonly T[] {
  const values: T[] = [];
  let unread = Buffer.alloc(0);
  for (const chunk of chunks) {
    unread = Buffer.concat([unread, chunk]);
    for (;;) {
      const result = decode(unread);
      if (result.state === 'malformed') throw new Error(result.why);
      if (result.state === 'need-more' || result.usedBytes === 0) break;
      values.push(result.value);
      unread = unread.subarray(result.usedBytes);
    }
  }
  if (unread.length > 0) throw new Error(`${unread.length} bytes are left over`);
  return values;
}

export function byteByByte(chunks: readonly Uint8Array[]): readonly Uint8Array[] {
  return [...Buffer.concat(chunks)].map((byte) => Uint8Array.of(byte));
}
