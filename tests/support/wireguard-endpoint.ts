/**
 * A WireGuard endpoint that stands in for a real one where a test needs it to misbehave. The computed handshake and the
 * real server keep its answers (src/demo/wireguard-responder.ts) honest.
 */
import { createHmac, randomBytes } from 'node:crypto';
import type { RemoteInfo } from 'node:dgram';
import { xchacha20poly1305 } from '@noble/ciphers/chacha.js';
import {
  type ReadInitiation,
  readInitiation,
  respond,
} from '../../src/demo/wireguard-responder.ts';
import { hash, mac } from '../../src/probe/wireguard-noise.ts';
import { makePrivateKey, publicOf } from '../../src/probe/x25519.ts';
import { type DatagramPeer, datagramPeer } from './datagram-peer.ts';

const labelCookie = Buffer.from('cookie--');

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
