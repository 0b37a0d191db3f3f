/**
 * The two packets of OpenVPN's control channel that open it: the client's hard reset and the server's. OpenVPN's wire
 * protocol draft (openvpn-rfc, no RFC), "Packet types" and "TLS wrapping"; doc/tls-crypt-v2.txt. Integers are big-endian.
 */
import { createCipheriv, createHmac, timingSafeEqual } from 'node:crypto';
import { openvpnPacketBytesMax } from '../base/limits.ts';
import { type Decoder, decoded, malformed, needMore } from './decoding.ts';
import type { Slot, Slots } from './openvpn-keys.ts';

// The opcode in the upper five bits, the key's number in the lower three: 0, for the first key.
const clientReset = 7 << 3;
const serverReset = 8 << 3;
const clientResetWithKey = 10 << 3;

const sessionBytes = 8;
/** Opcode and session id, in the clear in every mode. */
const headBytes = 1 + sessionBytes;
/** The packet's number against replays, and the Unix time. */
const replayBytes = 8;
const tagBytes = 32;
/** One packet acknowledged, the session that sent it, and the number of this one. */
const answerBodyBytes = 1 + 4 + sessionBytes + 4;
const packetBytesMin = headBytes + answerBodyBytes;
/** No acknowledgement, and packet 0. */
const resetBody = Buffer.alloc(5);

/** Digest names as OpenVPN's `auth` has them, and node:crypto too. */
export type Digest = 'SHA1' | 'SHA256' | 'SHA512';
const digestBytes = { SHA1: 20, SHA256: 32, SHA512: 64 } as const satisfies Record<Digest, number>;

/** How packets are covered before TLS begins. */
export type Cover =
  | { readonly mode: 'none' }
  | {
      readonly mode: 'tls-auth';
      readonly slots: Slots;
      readonly otherHalf: Slot;
      readonly digest: Digest;
    }
  | { readonly mode: 'tls-crypt'; readonly slots: Slots }
  /** `wrapped`: the client's own key, sealed for the server. */
  | { readonly mode: 'tls-crypt-v2'; readonly slots: Slots; readonly wrapped: Buffer };

/** What is new in every reset, and what its answer is checked against. */
export interface Opening {
  /** 8 bytes, not all zero. */
  readonly session: Buffer;
  readonly unixTimeS: number;
  readonly cover: Cover;
}

export function encodeReset({ session, unixTimeS, cover }: Opening): Buffer {
  const isV2 = cover.mode === 'tls-crypt-v2';
  const head = Buffer.concat([Buffer.of(isV2 ? clientResetWithKey : clientReset), session]);
  // 0f: the client can resend its wrapped key, so that the server need not remember this one (doc/tls-crypt-v2.txt).
  const replay = Buffer.concat([word(isV2 ? 0x0f00_0001 : 1), word(unixTimeS)]);
  switch (cover.mode) {
    case 'none':
      return Buffer.concat([head, resetBody]);
    case 'tls-auth': {
      const signature = sign(cover.slots.send, cover.digest, [replay, head, resetBody]);
      return Buffer.concat([head, signature, replay, resetBody]);
    }
    case 'tls-crypt':
    case 'tls-crypt-v2': {
      const tag = sign(cover.slots.send, 'SHA256', [head, replay, resetBody]);
      const sealed = crypt(cover.slots.send, tag, resetBody);
      const wrapped = isV2 ? cover.wrapped : Buffer.alloc(0);
      return Buffer.concat([head, replay, tag, sealed, wrapped]);
    }
  }
}

/**
 * How an answer that shows our session id is covered. `as-asked`: as it should be. `other-half`: with the half of the key
 * that is not for this direction. `differently`: by another key, or damaged. `bare`: not at all, though a key was used.
 */
export type Covered = 'as-asked' | 'other-half' | 'differently' | 'bare';

export interface Answer {
  readonly covered: Covered;
  /** The server's clock, Unix time in seconds; null where it is not shown, or nothing vouches for it. */
  readonly serverTimeS: number | null;
}

/** The server's reset that acknowledges ours; null when it is anything else. */
export function decodeAnswer(bytes: Buffer, opening: Opening): Answer | null {
  if (bytes.length < packetBytesMin || bytes.length > openvpnPacketBytesMax) return null;
  const session = bytes.subarray(1, headBytes);
  if (bytes[0] !== serverReset || session.equals(Buffer.alloc(sessionBytes))) return null;
  const uncovered = uncover(bytes, opening.cover);
  if (uncovered && acknowledges(uncovered.body, opening)) {
    const { covered, replay } = uncovered;
    const serverTimeS = covered === 'as-asked' && replay ? replay.readUInt32BE(4) : null;
    return { covered, serverTimeS };
  }
  const isBare = opening.cover.mode !== 'none' && acknowledges(bytes.subarray(headBytes), opening);
  return isBare ? { covered: 'bare', serverTimeS: null } : null;
}

/** A packet over TCP: its length in two bytes, then the packet. */
export function frame(packet: Buffer): Buffer {
  const length = Buffer.alloc(2);
  length.writeUInt16BE(packet.length);
  return Buffer.concat([length, packet]);
}

export const decodeFrame: Decoder<Buffer> = (bytes) => {
  if (bytes.length < 2) return needMore;
  const length = bytes.readUInt16BE(0);
  if (length < packetBytesMin || length > openvpnPacketBytesMax) {
    return malformed(`its length field says ${length}`);
  }
  if (bytes.length < 2 + length) return needMore;
  return decoded(Buffer.from(bytes.subarray(2, 2 + length)), 2 + length);
};

interface Uncovered {
  readonly body: Buffer;
  readonly covered: Covered;
  readonly replay: Buffer | null;
}

function uncover(bytes: Buffer, cover: Cover): Uncovered | null {
  const head = bytes.subarray(0, headBytes);
  switch (cover.mode) {
    case 'none':
      return { body: bytes.subarray(headBytes), covered: 'as-asked', replay: null };
    case 'tls-auth': {
      const replayByte = headBytes + digestBytes[cover.digest];
      const bodyByte = replayByte + replayBytes;
      if (bytes.length < bodyByte) return null;
      const signature = bytes.subarray(headBytes, replayByte);
      const replay = bytes.subarray(replayByte, bodyByte);
      const body = bytes.subarray(bodyByte);
      const isBy = (slot: Slot) =>
        timingSafeEqual(signature, sign(slot, cover.digest, [replay, head, body]));
      if (isBy(cover.slots.receive)) return { body, covered: 'as-asked', replay };
      return { body, covered: isBy(cover.otherHalf) ? 'other-half' : 'differently', replay };
    }
    case 'tls-crypt':
    case 'tls-crypt-v2': {
      const tagByte = headBytes + replayBytes;
      const bodyByte = tagByte + tagBytes;
      if (bytes.length < bodyByte) return null;
      const replay = bytes.subarray(headBytes, tagByte);
      const tag = bytes.subarray(tagByte, bodyByte);
      const slot = cover.slots.receive;
      const body = crypt(slot, tag, bytes.subarray(bodyByte));
      const isGood = timingSafeEqual(tag, sign(slot, 'SHA256', [head, replay, body]));
      return { body, covered: isGood ? 'as-asked' : 'differently', replay };
    }
  }
}

/** We have sent one packet, so this has one form; then what the two sides may agree on early, type, length and value. */
function acknowledges(body: Buffer, { session }: Opening): boolean {
  const expected = Buffer.concat([Buffer.of(1), word(0), session, word(0)]);
  if (!body.subarray(0, answerBodyBytes).equals(expected)) return false;
  let startByte = answerBodyBytes;
  while (startByte + 4 <= body.length) startByte += 4 + body.readUInt16BE(startByte + 2);
  return startByte === body.length;
}

function sign({ hmac }: Slot, digest: Digest, parts: readonly Buffer[]): Buffer {
  const code = createHmac(digest, hmac.subarray(0, digestBytes[digest]));
  for (const part of parts) code.update(part);
  return code.digest();
}

/** AES-256-CTR, the same both ways; the tag's first half is the counter's start. */
function crypt({ cipher }: Slot, tag: Buffer, bytes: Buffer): Buffer {
  const stream = createCipheriv('aes-256-ctr', cipher.subarray(0, 32), tag.subarray(0, 16));
  return Buffer.concat([stream.update(bytes), stream.final()]);
}

function word(value: number): Buffer {
  const bytes = Buffer.alloc(4);
  bytes.writeUInt32BE(value);
  return bytes;
}
