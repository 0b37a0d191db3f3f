/** Settings of the `wireguard` probe: the endpoint, its public key, and the keys of a peer made for the probe alone. */
import * as z from 'zod';
import { agree, makePrivateKey, publicOf } from '../x25519.ts';
import { declare } from './declaration.ts';
import { host, hostPort, port, secret } from './words.ts';

/** Base64 of exactly 32 bytes: the last digit before the `=` has two bits that must be zero (RFC 4648 §4). */
const base64Of32 = /^[A-Za-z0-9+/]{42}[AEIMQUYcgkosw048]=$/;
const keyExpected =
  'expected a key: 44 characters of base64, which `rollcall key` or `wg genkey` makes';
/** Whatever needs the bytes of the key is not asked any more. */
const noKey = { error: keyExpected, abort: true };

const publicKey = z
  .string(keyExpected)
  .regex(base64Of32, noKey)
  .refine(isSound, { error: 'expected a public key; this one belongs to nobody', abort: true });
const secretKey = secret.regex(base64Of32, noKey);

const schema = z
  .strictObject({
    kind: z.literal('wireguard'),
    host,
    port: port.default(51_820),
    publicKey: publicKey.describe('Of the endpoint: the public key of its interface.'),
    privateKey: secretKey.describe(
      'Of a peer made for the probe alone (`rollcall key`), never that of a device: the endpoint would take the probe for it.',
    ),
    presharedKey: secretKey
      .optional()
      .describe('Where the endpoint has one for the peer of the probe.'),
  })
  .refine((all) => publicOf(bytesOf(all.privateKey)).toString('base64') !== all.publicKey, {
    path: ['publicKey'],
    error: "expected the endpoint's public key; this one is that of the probe itself",
  });

export const wireguard = declare({
  kind: 'wireguard',
  schema,
  schemes: [],
  fromUrl: () => {
    throw new Error(
      'a handshake needs keys: expected a block with `kind: wireguard`, `host`, `publicKey` and `privateKey`',
    );
  },
  where: (settings) => hostPort(settings.host, settings.port),
  // Rekey-Timeout: never more than one initiation in five seconds (WireGuard paper, §6.1).
  manners: { minGapMs: 5_000 },
});

export type WireguardSettings = z.output<typeof schema>;

/** The 32 bytes of a key. */
export function bytesOf(key: string): Buffer {
  return Buffer.from(key, 'base64');
}

/** A few points share the same zeros with everybody (RFC 7748 §6.1). */
function isSound(key: string): boolean {
  return agree(makePrivateKey(), bytesOf(key)) !== null;
}
