/**
 * Columns of bytes deflated one by one into a single stream (RFC 1951): each has Huffman codes of its own, and one call
 * inflates them all. Before it stand the version of the format and the lengths of the columns.
 */
import { constants, deflateRawSync, inflateRawSync } from 'node:zlib';
import { sealedBytesMax } from '../../../base/limits.ts';
import { damaged, eye, pen } from './bytes.ts';

const { Z_DEFAULT_STRATEGY, Z_FINISH, Z_HUFFMAN_ONLY, Z_RLE, Z_SYNC_FLUSH } = constants;

/** Throws RangeError for more than `sealedBytesMax` bytes. */
export function packed(version: number, columns: readonly Uint8Array[]): Uint8Array {
  const front = pen();
  front.number(version);
  for (const { length } of columns) front.number(length);
  const size = columns.reduce((sum, { length }) => sum + length, 0);
  if (size > sealedBytesMax) throw new RangeError(`${size} bytes are too many to be sealed`);
  return joined([
    front.written(),
    ...columns.map((column, nth) => deflated(column, nth === columns.length - 1)),
  ]);
}

/**
 * The inverse, for a known number of columns. Throws Error for anything else; takes no more memory than the bytes announce,
 * and at most `sealedBytesMax`.
 */
export function unpacked(version: number, columnsCount: number, bytes: Uint8Array): Uint8Array[] {
  const front = eye(bytes);
  const found = front.number();
  if (found !== version) throw damaged(`its version is ${found}, not ${version}`);
  const lengths = Array.from({ length: columnsCount }, () => front.number(sealedBytesMax));
  const size = lengths.reduce((sum, length) => sum + length, 0);
  if (size > sealedBytesMax) throw damaged('it is too long');
  const inflated = inflatedTo(size, bytes.subarray(bytes.length - front.left()));
  let end = 0;
  return lengths.map((length) => {
    end += length;
    return inflated.subarray(end - length, end);
  });
}

/** About how long a column is when it is packed. */
export function packedLength(column: Uint8Array): number {
  return deflateRawSync(column, { strategy: Z_HUFFMAN_ONLY }).length;
}

/** The shortest of three ways: Huffman codes alone, with runs of the same byte, with all repetitions. */
function deflated(column: Uint8Array, last: boolean): Uint8Array {
  const finishFlush = last ? Z_FINISH : Z_SYNC_FLUSH;
  const ways = [Z_HUFFMAN_ONLY, Z_RLE, Z_DEFAULT_STRATEGY].map((strategy) =>
    deflateRawSync(column, { level: 9, finishFlush, strategy }),
  );
  return ways.reduce((best, other) => (other.length < best.length ? other : best));
}

function inflatedTo(size: number, bytes: Uint8Array): Uint8Array {
  try {
    const inflated = inflateRawSync(bytes, {
      maxOutputLength: Math.max(size, 1),
      chunkSize: Math.max(size, 64),
    });
    if (inflated.length === size) return inflated;
  } catch (cause) {
    throw damaged(cause instanceof Error ? cause.message : String(cause));
  }
  throw damaged('it is shorter than it says');
}

function joined(parts: readonly Uint8Array[]): Uint8Array {
  const whole = new Uint8Array(parts.reduce((sum, { length }) => sum + length, 0));
  let end = 0;
  for (const part of parts) {
    whole.set(part, end);
    end += part.length;
  }
  return whole;
}
