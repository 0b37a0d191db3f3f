/**
 * The primitives of WireGuard's handshake: J. A. Donenfeld, "WireGuard: Next Generation Kernel Network Tunnel" (NDSS 2017), §5.4.
 * node:crypto has all but the keyed BLAKE2s and XChaCha20.
 */
import { createCipheriv, createDecipheriv, createHash, createHmac } from 'node:crypto';
import { xchacha20poly1305 } from '@noble/ciphers/chacha.js';
import { blake2s } from '@noble/hashes/blake2.js';

const tagBytes = 16;
const macBytes = 16;
/** The counter of a handshake message: each key seals one text. */
const counterZero = Buffer.alloc(12);

/** Hash(…): BLAKE2s of 32 bytes (RFC 7693). */
export function hash(...parts: readonly Uint8Array[]): Buffer {
  const digest = createHash('blake2s256');
  for (const part of parts) digest.update(part);
  return digest.digest();
}

/** Mac(key, …): keyed BLAKE2s of 16 bytes. */
export function mac(key: Uint8Array, input: Uint8Array): Buffer {
  return Buffer.from(blake2s(input, { key, dkLen: macBytes }));
}

/** Kdf1, Kdf2, Kdf3: HKDF (RFC 5869) with HMAC over BLAKE2s, the chaining key as salt and no info. */
export function kdf1(chainingKey: Uint8Array, input: Uint8Array): Buffer {
  return hmac(hmac(chainingKey, input), Buffer.of(1));
}

export function kdf2(chainingKey: Uint8Array, input: Uint8Array): [Buffer, Buffer] {
  const [first, second] = kdf3(chainingKey, input);
  return [first, second];
}

export function kdf3(chainingKey: Uint8Array, input: Uint8Array): [Buffer, Buffer, Buffer] {
  const secret = hmac(chainingKey, input);
  const first = hmac(secret, Buffer.of(1));
  const second = hmac(secret, Buffer.concat([first, Buffer.of(2)]));
  return [first, second, hmac(secret, Buffer.concat([second, Buffer.of(3)]))];
}

function hmac(key: Uint8Array, input: Uint8Array): Buffer {
  return createHmac('blake2s256', key).update(input).digest();
}

/** Aead(key, 0, …): ChaCha20-Poly1305 (RFC 8439), the tag behind. */
export function seal(
  key: Uint8Array,
  plain: Uint8Array,
  bound: Uint8Array,
  nonce: Uint8Array = counterZero,
): Buffer {
  const cipher = createCipheriv('chacha20-poly1305', key, nonce, { authTagLength: tagBytes });
  cipher.setAAD(bound, { plaintextLength: plain.length });
  return Buffer.concat([cipher.update(plain), cipher.final(), cipher.getAuthTag()]);
}

/** Null when it was not sealed with this key over these bound bytes. */
export function open(
  key: Uint8Array,
  sealed: Uint8Array,
  bound: Uint8Array,
  nonce: Uint8Array = counterZero,
): Buffer | null {
  const plainBytes = sealed.length - tagBytes;
  if (plainBytes < 0) return null;
  const decipher = createDecipheriv('chacha20-poly1305', key, nonce, { authTagLength: tagBytes });
  decipher.setAAD(bound, { plaintextLength: plainBytes });
  decipher.setAuthTag(sealed.subarray(plainBytes));
  const plain = decipher.update(sealed.subarray(0, plainBytes));
  try {
    return Buffer.concat([plain, decipher.final()]);
  } catch {
    return null;
  }
}

/** Xaead(key, nonce, …) opened: XChaCha20-Poly1305 (draft-irtf-cfrg-xchacha-03), `nonce24` of 24 bytes. */
export function openExtended(
  key: Uint8Array,
  nonce24: Uint8Array,
  sealed: Uint8Array,
  bound: Uint8Array,
): Buffer | null {
  try {
    return Buffer.from(xchacha20poly1305(key, nonce24, bound).decrypt(sealed));
  } catch {
    return null;
  }
}
