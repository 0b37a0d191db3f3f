/**
 * The other side of OpenVPN's opening, as the tests want it: it answers a client's reset in every way of covering packets.
 * The published packets and the real server keep it honest.
 */
import { createCipheriv, createHmac, randomBytes } from 'node:crypto';

/** How the server covers what it sends: bytes of its key. Absent: not at all. */
export type ServerCover =
  | { readonly auth: 'sha1' | 'sha256' | 'sha512'; readonly hmacKey: Buffer }
  | { readonly cipherKey: Buffer; readonly hmacKey: Buffer };

interface Wish {
  readonly cover?: ServerCover;
  /** In place of the acknowledgement of the client's packet. */
  readonly body?: Buffer;
  /** In place of the head's first byte. */
  readonly opcode?: number;
  readonly session?: Buffer;
  readonly serverTimeS?: number;
}

/** The session id that a client's reset begins with. */
export function sessionIn(reset: Buffer): Buffer {
  return reset.subarray(1, 9);
}

/** The server's reset, as it answers this session of a client. */
export function answerTo(session: Buffer, wish: Wish = {}): Buffer {
  const { cover, body = acknowledging(session), opcode = 0x40 } = wish;
  const head = Buffer.concat([Buffer.of(opcode), wish.session ?? randomBytes(8)]);
  if (!cover) return Buffer.concat([head, body]);
  const replay = Buffer.alloc(8);
  replay.writeUInt32BE(1);
  replay.writeUInt32BE(wish.serverTimeS ?? Math.floor(Date.now() / 1_000), 4);
  if ('auth' in cover) {
    const code = createHmac(cover.auth, cover.hmacKey).update(Buffer.concat([replay, head, body]));
    return Buffer.concat([head, code.digest(), replay, body]);
  }
  const tag = createHmac('sha256', cover.hmacKey)
    .update(Buffer.concat([head, replay, body]))
    .digest();
  const stream = createCipheriv('aes-256-ctr', cover.cipherKey, tag.subarray(0, 16));
  return Buffer.concat([head, replay, tag, stream.update(body)]);
}

/** One acknowledgement, of packet 0 of this session; the number of its own packet, 0; and what may follow. */
export function acknowledging(session: Buffer, behind: Uint8Array = Buffer.alloc(0)): Buffer {
  return Buffer.concat([Buffer.of(1, 0, 0, 0, 0), session, Buffer.alloc(4), behind]);
}

/** As a key file has it. */
export function staticKeyFile(key: Buffer): string {
  const lines = key.toString('hex').match(/.{32}/g) ?? [];
  return [
    '#',
    '# 2048 bit OpenVPN static key',
    '#',
    '-----BEGIN OpenVPN Static key V1-----',
    ...lines,
    '-----END OpenVPN Static key V1-----',
    '',
  ].join('\n');
}

/** A client key file of tls-crypt-v2, of a key and the same sealed for the server (here any bytes). */
export function clientKeyFile(key: Buffer, sealed: Buffer): string {
  const length = Buffer.alloc(2);
  length.writeUInt16BE(sealed.length + 2);
  const lines =
    Buffer.concat([key, sealed, length])
      .toString('base64')
      .match(/.{1,64}/g) ?? [];
  return [
    '-----BEGIN OpenVPN tls-crypt-v2 client key-----',
    ...lines,
    '-----END OpenVPN tls-crypt-v2 client key-----',
    '',
  ].join('\n');
}
