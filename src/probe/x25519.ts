/** X25519 (RFC 7748 §5) on raw keys of 32 bytes, which node:crypto takes only in an envelope of DER (RFC 8410). */
import { createPrivateKey, createPublicKey, diffieHellman, randomBytes } from 'node:crypto';

// RFC 8410 §7 and §4: what stands before the 32 bytes, with the OID 1.3.101.110.
const pkcs8 = Buffer.from('302e020100300506032b656e04220420', 'hex');
const spki = Buffer.from('302a300506032b656e032100', 'hex');
const keyBytes = 32;

/** What two parties share; null when the public key is one of the few that share the same zeros with everybody. */
export type Agree = (privateKey: Uint8Array, publicKey: Uint8Array) => Buffer | null;

export const agree: Agree = (privateKey, publicKey) => {
  const keys = { privateKey: privateOf(privateKey), publicKey: publicFrom(publicKey) };
  try {
    return diffieHellman(keys);
  } catch (thrown) {
    if (isDerivationFailure(thrown)) return null;
    throw thrown;
  }
};

/** The public key of a private one. */
export function publicOf(privateKey: Uint8Array): Buffer {
  const encoded = createPublicKey(privateOf(privateKey)).export({ format: 'der', type: 'spki' });
  return encoded.subarray(spki.length);
}

/** 32 random bytes, with the bits set as RFC 7748 §5 reads them anyway, so that other tools print the same key. */
export function makePrivateKey(): Buffer {
  const key = randomBytes(keyBytes);
  key.writeUInt8(key.readUInt8(0) & 0xf8, 0);
  key.writeUInt8((key.readUInt8(31) & 0x7f) | 0x40, 31);
  return key;
}

function privateOf(key: Uint8Array) {
  return createPrivateKey({ key: Buffer.concat([pkcs8, key]), format: 'der', type: 'pkcs8' });
}

function publicFrom(key: Uint8Array) {
  return createPublicKey({ key: Buffer.concat([spki, key]), format: 'der', type: 'spki' });
}

/** OpenSSL refuses an all-zero result (RFC 7748 §6.1). */
function isDerivationFailure(thrown: unknown): boolean {
  return (
    thrown instanceof Error &&
    'code' in thrown &&
    thrown.code === 'ERR_OSSL_FAILED_DURING_DERIVATION'
  );
}
