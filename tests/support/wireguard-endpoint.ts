/**
 * The other side of WireGuard's handshake (paper, §5.4), made of the same primitives as the probe. It stands in for an
 * endpoint where a test needs it to misbehave; the computed handshake and the real server keep it honest.
 */
import { createHmac, randomBytes } from 'node:crypto';
import type { RemoteInfo } from 'node:dgram';
import { xchacha20poly1305 } from '@noble/ciphers/chacha.js';
import { hash, kdf1, kdf2, kdf3, mac, open, seal } from '../../src/probe/wireguard-noise.ts';
import { agree, makePrivateKey, publicOf } from '../../src/probe/x25519.ts';
import { type DatagramPeer, datagramPeer } from './datagram-peer.ts';

const construction = hash(Buffer.from('Noise_IKpsk2_25519_ChaChaPoly_BLAKE2s'));
const identified = hash(construction, Buffer.from('WireGuard v1 zx2c4 Jason@zx2c4.com'));
const labelMac1 = Buffer.from('mac1----');
const labelCookie = Buffer.from('cookie--');

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

/** Null: not sealed for this endpoint. */
export function readInitiation(bytes: Buffer, ownPrivate: Buffer): ReadInitiation | null {
  if (bytes.length !== 148 || bytes.readUInt32LE(0) !== 1) return null;
  const ownPublic = publicOf(ownPrivate);
  const withMac1 = bytes.subarray(0, 132);
  const mac1 = bytes.subarray(116, 132);
  if (!mac1.equals(mac(hash(labelMac1, ownPublic), bytes.subarray(0, 116)))) return null;
  const ephemeral = bytes.subarray(8, 40);
  const withEphemeral = hash(hash(identified, ownPublic), ephemeral);
  const [once, staticKey] = kdf2(kdf1(construction, ephemeral), agree(ownPrivate, ephemeral)!);
  const sealedStatic = bytes.subarray(40, 88);
  const peerPublic = open(staticKey, sealedStatic, withEphemeral);
  if (!peerPublic) return null;
  const withStatic = hash(withEphemeral, sealedStatic);
  const [chainingKey, stampKey] = kdf2(once, agree(ownPrivate, peerPublic)!);
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
    withMac1,
  };
}

/** The response of 92 bytes. */
export function respond(
  initiation: ReadInitiation,
  {
    preshared = Buffer.alloc(32),
    ephemeralPrivate = makePrivateKey(),
    senderIndex = randomBytes(4),
  }: { preshared?: Buffer; ephemeralPrivate?: Buffer; senderIndex?: Buffer } = {},
): Buffer {
  const ephemeral = publicOf(ephemeralPrivate);
  const byBoth = [initiation.ephemeral, initiation.peerPublic].reduce(
    (key, other) => kdf1(key, agree(ephemeralPrivate, other)!),
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

/** The body of a message with its first mark, and no second one. */
export function marked(body: Buffer, receiverPublic: Buffer): Buffer {
  return Buffer.concat([body, mac(hash(labelMac1, receiverPublic), body), Buffer.alloc(16)]);
}

/** The cookie reply of 64 bytes. */
export function handOut(
  cookie: Buffer,
  { senderIndex, mac1 }: Pick<ReadInitiation, 'senderIndex' | 'mac1'>,
  { ownPublic, nonce = randomBytes(24) }: { ownPublic: Buffer; nonce?: Buffer },
): Buffer {
  const sealed = xchacha20poly1305(hash(labelCookie, ownPublic), nonce, mac1).encrypt(cookie);
  return Buffer.concat([Buffer.of(3, 0, 0, 0), senderIndex, nonce, sealed]);
}

export interface Endpoint extends DatagramPeer {
  /** Base64, as in a configuration. */
  readonly publicKey: string;
  /** Those that this endpoint could read, in order. */
  readonly initiations: readonly ReadInitiation[];
}

/** What is done with an initiation in place of the response. */
type Instead = (
  initiation: ReadInitiation,
  answer: (bytes: Uint8Array) => void,
  at: { readonly nth: number; readonly from: RemoteInfo; readonly ownPublic: Buffer },
) => void;

/** An endpoint on loopback. It knows every peer. `nth` counts initiations from 1. */
export async function wireguardEndpoint(
  instead: Instead = (initiation, answer) => answer(respond(initiation)),
): Promise<Endpoint> {
  const ownPrivate = makePrivateKey();
  const ownPublic = publicOf(ownPrivate);
  const initiations: ReadInitiation[] = [];
  const peer = await datagramPeer((bytes, answer, from) => {
    const initiation = readInitiation(bytes, ownPrivate);
    if (!initiation) return;
    initiations.push(initiation);
    instead(initiation, answer, { nth: initiations.length, from, ownPublic });
  });
  return { ...peer, publicKey: ownPublic.toString('base64'), initiations };
}

/** Under load (§5.4.7): a cookie for an address and port; a response only to who shows it again. */
export function underLoad(): Instead {
  const secret = randomBytes(32);
  return (initiation, answer, { from, ownPublic }) => {
    const place = `${from.address} ${from.port}`;
    const cookie = createHmac('blake2s256', secret).update(place).digest().subarray(0, 16);
    const isShown = mac(cookie, initiation.withMac1).equals(initiation.mac2);
    answer(isShown ? respond(initiation) : handOut(cookie, initiation, { ownPublic }));
  };
}
