/**
 * OpenVPN's key files, and which half of a key covers which way. A static key is 256 bytes: two slots of 64 bytes for the
 * cipher and 64 for the HMAC, of which each use takes the first bytes it needs. The formats have no standard but the
 * program's own manual (`--genkey`, `--tls-auth`) and its doc/tls-crypt-v2.txt.
 */

/** The client's side: 1 where the server has 0, the usual way. `none`: one half both ways. */
export type Direction = 0 | 1 | 'none';

const staticKeyBytes = 256;
const slotBytes = 128;
/** Where the HMAC's part of a slot begins. */
const hmacByte = 64;
// doc/tls-crypt-v2.txt: a tag of 32 bytes, the sealed key with its metadata, and its own length in the last two bytes.
const wrappedBytesMin = 32 + staticKeyBytes + 2;
const wrappedBytesMax = 1_024;

export interface Slot {
  /** 64 bytes each. */
  readonly cipher: Buffer;
  readonly hmac: Buffer;
}

export interface Slots {
  readonly send: Slot;
  readonly receive: Slot;
}

/** A client's key of tls-crypt-v2: its own, and the same sealed for the server. */
interface ClientKey {
  readonly key: Buffer;
  readonly wrapped: Buffer;
}

/** The 256 bytes of a static key file; null when it is none. */
export function readStaticKey(text: string): Buffer | null {
  const digits = between(text, 'OpenVPN Static key V1');
  return digits !== null && /^[\da-f]{512}$/i.test(digits) ? Buffer.from(digits, 'hex') : null;
}

/** The two parts of a client key file of tls-crypt-v2; null when it is none. */
export function readClientKey(text: string): ClientKey | null {
  const digits = between(text, 'OpenVPN tls-crypt-v2 client key');
  if (digits === null || !/^[A-Za-z\d+/]+={0,2}$/.test(digits)) return null;
  const bytes = Buffer.from(digits, 'base64');
  const wrapped = bytes.subarray(staticKeyBytes);
  if (wrapped.length < wrappedBytesMin || wrapped.length > wrappedBytesMax) return null;
  if (wrapped.readUInt16BE(wrapped.length - 2) !== wrapped.length) return null;
  return { key: bytes.subarray(0, staticKeyBytes), wrapped };
}

export function slotsOf(key: Buffer, direction: Direction): Slots {
  const [first, second] = [slotAt(key, 0), slotAt(key, slotBytes)];
  if (direction === 'none') return { send: first, receive: first };
  return direction === 0 ? { send: first, receive: second } : { send: second, receive: first };
}

/** The half of the key that `direction` does not verify answers with. */
export function otherHalf(key: Buffer, direction: Direction): Slot {
  return slotAt(key, direction === 0 ? 0 : slotBytes);
}

function slotAt(key: Buffer, startByte: number): Slot {
  const slot = key.subarray(startByte, startByte + slotBytes);
  return { cipher: slot.subarray(0, hmacByte), hmac: slot.subarray(hmacByte) };
}

/** What stands between the lines that begin and end a key, without white space. */
function between(text: string, name: string): string | null {
  const begin = `-----BEGIN ${name}-----`;
  const start = text.indexOf(begin);
  const end = text.indexOf(`-----END ${name}-----`, start);
  return start < 0 || end < 0 ? null : text.slice(start + begin.length, end).replace(/\s+/g, '');
}
