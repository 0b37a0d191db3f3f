/**
 * The other side of WireGuard's handshake, made of the same primitives as the probe: J. A. Donenfeld, "WireGuard: Next
 * Generation Kernel Network Tunnel" (NDSS 2017), §5.4. The demo's endpoint answers with it, and that of the tests.
 */
import { randomBytes } from 'node:crypto';
import { hash, kdf1, kdf2, kdf3, mac, open, seal } from '../probe/wireguard-noise.ts';
import { agree, makePrivateKey, publicOf } from '../probe/x25519.ts';

const construction = hash(Buffer.from('Noise_IKpsk2_25519_ChaChaPoly_BLAKE2s'));
const identified = hash(construction, Buffer.from('WireGuard v1 zx2c4 Jason@zx2c4.com'));
const labelMac1 = Buffer.from('mac1----');

/** What the holder of the endpoint's private key reads in an initiation. */
export interface ReadInitiation {
  readonly senderIndex: Buffer;
  readonly ephemeral: Buffer;
  readonly peerPublic: Buffer;
  /** 24 hex digits. */
  readonly stamp: string;
  readonly mac1: Buffer;
  readonly mac2: Buffer;
  readonly chainingKey: Buffer;
  readonly transcript: Buffer;
  /** All that mac2 is over. */
  readonly withMac1: Buffer;
}

/** §5.4.2. Null: not sealed for this endpoint. */
export function readInitiation(bytes: Buffer, ownPrivate: Buffer): ReadInitiation | null {
  if (bytes.length !== 148 || bytes.readUInt32LE(0) !== 1) return null;
  const ownPublic = publicOf(ownPrivate);
  const mac1 = bytes.subarray(116, 132);
  if (!mac1.equals(mac(hash(labelMac1, ownPublic), bytes.subarray(0, 116)))) return null;
  const ephemeral = bytes.subarray(8, 40);
  const byEphemeral = agree(ownPrivate, ephemeral);
  if (!byEphemeral) return null;
  const withEphemeral = hash(hash(identified, ownPublic), ephemeral);
  const [once, staticKey] = kdf2(kdf1(construction, ephemeral), byEphemeral);
  const sealedStatic = bytes.subarray(40, 88);
  const peerPublic = open(staticKey, sealedStatic, withEphemeral);
  const byStatic = peerPublic && agree(ownPrivate, peerPublic);
  if (!byStatic) return null;
  const withStatic = hash(withEphemeral, sealedStatic);
  const [chainingKey, stampKey] = kdf2(once, byStatic);
  const sealedStamp = bytes.subarray(88, 116);
  const stamp = open(stampKey, sealedStamp, withStatic);
  if (!stamp) return null;
  return {
    senderIndex: bytes.subarray(4, 8),
    ephemeral,
    peerPublic,
    stamp: stamp.toString('hex'),
    mac1,
    mac2: bytes.subarray(132),
    chainingKey,
    transcript: hash(withStatic, sealedStamp),
    withMac1: bytes.subarray(0, 132),
  };
}

interface Choice {
  /** 32 zeros where there is none. */
  readonly preshared?: Buffer;
  readonly ephemeralPrivate?: Buffer;
  readonly senderIndex?: Buffer;
}

/** §5.4.3: the response of 92 bytes. */
export function respond(
  initiation: ReadInitiation,
  {
    preshared = Buffer.alloc(32),
    ephemeralPrivate = makePrivateKey(),
    senderIndex = randomBytes(4),
  }: Choice = {},
): Buffer {
  const ephemeral = publicOf(ephemeralPrivate);
  const byBoth = [initiation.ephemeral, initiation.peerPublic].reduce(
    (key, other) => kdf1(key, shared(ephemeralPrivate, other)),
    kdf1(initiation.chainingKey, ephemeral),
  );
  const [, bound, key] = kdf3(byBoth, preshared);
  const sealedEmpty = seal(
    key,
    Buffer.alloc(0),
    hash(hash(initiation.transcript, ephemeral), bound),
  );
  return marked(
    Buffer.concat([
      Buffer.of(2, 0, 0, 0),
      ...[senderIndex, initiation.senderIndex, ephemeral, sealedEmpty],
    ]),
    initiation.peerPublic,
  );
}

/** §5.4.4: the body of a message with its first mark, and no second one. */
export function marked(body: Buffer, receiverPublic: Buffer): Buffer {
  return Buffer.concat([body, mac(hash(labelMac1, receiverPublic), body), Buffer.alloc(16)]);
}

/** Reading the initiation has shown that its keys are sound. */
function shared(privateKey: Buffer, publicKey: Buffer): Buffer {
  const secret = agree(privateKey, publicKey);
  if (secret === null) throw new Error('a key of the initiation belongs to nobody');
  return secret;
}
