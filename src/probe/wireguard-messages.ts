/**
 * WireGuard's handshake messages: J. A. Donenfeld, "WireGuard: Next Generation Kernel Network Tunnel" (NDSS 2017), §5.4.
 * Integers are little-endian; a type is one byte and three zeros, read here as one word.
 */
import { timingSafeEqual } from 'node:crypto';
import { hash, kdf1, kdf2, kdf3, mac, open, openExtended, seal } from './wireguard-noise.ts';
import { type Agree, agree, publicOf } from './x25519.ts';

// §5.4: the names that are hashed into every handshake, and the labels of the two MACs.
const construction = hash(Buffer.from('Noise_IKpsk2_25519_ChaChaPoly_BLAKE2s'));
const identified = hash(construction, Buffer.from('WireGuard v1 zx2c4 Jason@zx2c4.com'));
const labelMac1 = Buffer.from('mac1----');
const labelCookie = Buffer.from('cookie--');

const initiationType = 1;
const responseType = 2;
const cookieReplyType = 3;
const responseBytes = 92;
const cookieReplyBytes = 64;

/** The keys of both sides, as the initiator holds them. */
export interface Keys {
  readonly ownPrivate: Buffer;
  readonly ownPublic: Buffer;
  readonly endpointPublic: Buffer;
  /** 32 zeros where there is none (§5.4.3). */
  readonly preshared: Buffer;
}

export function keysOf(given: {
  readonly ownPrivate: Buffer;
  readonly endpointPublic: Buffer;
  readonly preshared: Buffer | null;
}): Keys {
  const preshared = given.preshared ?? Buffer.alloc(32);
  return { ...given, preshared, ownPublic: publicOf(given.ownPrivate) };
}

/** What is new in every initiation. */
interface Fresh {
  readonly ephemeralPrivate: Buffer;
  /** 32 bits. */
  readonly senderIndex: number;
  /** TAI64N, 12 bytes. */
  readonly stamp: Buffer;
  /** 16 bytes, out of a cookie reply to an initiation from this same port. */
  readonly cookie: Buffer | null;
}

/** A sent initiation, and what its answer is checked against. */
export interface Initiation {
  readonly bytes: Buffer;
  readonly senderIndex: number;
  readonly mac1: Buffer;
  readonly ephemeralPrivate: Buffer;
  readonly chainingKey: Buffer;
  readonly transcript: Buffer;
}

/** §5.4.2, §5.4.4. The endpoint's public key must be a sound one: the settings have seen to it. */
export function encodeInitiation(keys: Keys, fresh: Fresh): Initiation {
  const ephemeral = publicOf(fresh.ephemeralPrivate);
  const withEphemeral = hash(hash(identified, keys.endpointPublic), ephemeral);
  const [sharedOnce, staticKey] = kdf2(
    kdf1(construction, ephemeral),
    shared(fresh.ephemeralPrivate, keys.endpointPublic),
  );
  const sealedStatic = seal(staticKey, keys.ownPublic, withEphemeral);
  const withStatic = hash(withEphemeral, sealedStatic);
  const [chainingKey, stampKey] = kdf2(sharedOnce, shared(keys.ownPrivate, keys.endpointPublic));
  const sealedStamp = seal(stampKey, fresh.stamp, withStatic);

  const body = Buffer.concat([
    ...[word(initiationType), word(fresh.senderIndex), ephemeral, sealedStatic, sealedStamp],
  ]);
  const mac1 = mac(hash(labelMac1, keys.endpointPublic), body);
  const withMac1 = Buffer.concat([body, mac1]);
  const mac2 = fresh.cookie === null ? Buffer.alloc(16) : mac(fresh.cookie, withMac1);
  return {
    bytes: Buffer.concat([withMac1, mac2]),
    senderIndex: fresh.senderIndex,
    mac1,
    ephemeralPrivate: fresh.ephemeralPrivate,
    chainingKey,
    transcript: hash(withStatic, sealedStamp),
  };
}

export interface Response {
  /** Ours, of the initiation that is answered. */
  readonly receiverIndex: number;
  readonly ephemeral: Buffer;
  readonly sealedEmpty: Buffer;
  readonly mac1: Buffer;
  /** All that mac1 is over. */
  readonly body: Buffer;
}

/** §5.4.3; null when it has another length or type. */
export function decodeResponse(bytes: Buffer): Response | null {
  if (bytes.length !== responseBytes || bytes.readUInt32LE(0) !== responseType) return null;
  return {
    receiverIndex: bytes.readUInt32LE(8),
    ephemeral: bytes.subarray(12, 44),
    sealedEmpty: bytes.subarray(44, 60),
    mac1: bytes.subarray(60, 76),
    body: bytes.subarray(0, 60),
  };
}

/** Made by somebody who knows our public key (§5.4.4). Cheap, and so comes before any agreement of keys. */
export function isMarked({ body, mac1 }: Response, ownPublic: Buffer): boolean {
  return timingSafeEqual(mac1, mac(hash(labelMac1, ownPublic), body));
}

/**
 * `opened`: made by the holder of the endpoint's private key and of the preshared key, for this very initiation.
 * `sealed`: by somebody else, or with another preshared key. `unsound`: its ephemeral key belongs to nobody.
 */
export type Opening = 'opened' | 'sealed' | 'unsound';

/** §5.4.3. Two agreements of keys. */
export function openResponse(
  response: Response,
  initiation: Initiation,
  keys: Keys,
  agreeOn: Agree,
): Opening {
  const { ephemeral, sealedEmpty } = response;
  const byEphemeral = agreeOn(initiation.ephemeralPrivate, ephemeral);
  if (byEphemeral === null) return 'unsound';
  const byStatic = agreeOn(keys.ownPrivate, ephemeral);
  if (byStatic === null) return 'unsound';
  const withEphemeral = kdf1(initiation.chainingKey, ephemeral);
  const withBoth = kdf1(kdf1(withEphemeral, byEphemeral), byStatic);
  const [, bound, emptyKey] = kdf3(withBoth, keys.preshared);
  const transcript = hash(hash(initiation.transcript, ephemeral), bound);
  return open(emptyKey, sealedEmpty, transcript) === null ? 'sealed' : 'opened';
}

export interface CookieReply {
  readonly receiverIndex: number;
  readonly nonce: Buffer;
  readonly sealedCookie: Buffer;
}

/** §5.4.7; null when it has another length or type. */
export function decodeCookieReply(bytes: Buffer): CookieReply | null {
  if (bytes.length !== cookieReplyBytes || bytes.readUInt32LE(0) !== cookieReplyType) return null;
  return {
    receiverIndex: bytes.readUInt32LE(4),
    nonce: bytes.subarray(8, 32),
    sealedCookie: bytes.subarray(32, 64),
  };
}

/** The cookie of 16 bytes; null unless it answers this very initiation, by somebody who knows the endpoint's public key. */
export function openCookieReply(
  { nonce, sealedCookie }: CookieReply,
  initiation: Initiation,
  { endpointPublic }: Keys,
): Buffer | null {
  return openExtended(hash(labelCookie, endpointPublic), nonce, sealedCookie, initiation.mac1);
}

function shared(privateKey: Buffer, publicKey: Buffer): Buffer {
  const secret = agree(privateKey, publicKey);
  if (secret === null) throw new Error('the public key of the endpoint belongs to nobody');
  return secret;
}

function word(value: number): Buffer {
  const bytes = Buffer.alloc(4);
  bytes.writeUInt32LE(value);
  return bytes;
}
