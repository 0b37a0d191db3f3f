/** Settings of the `openvpn` probe: the server, and the key of its control channel where it has one. */
import * as z from 'zod';
import { readClientKey, readStaticKey } from '../openvpn-keys.ts';
import { declare, onlyHostAndPort } from './declaration.ts';
import { host, hostPort, port, secret } from './words.ts';

const defaultPort = 1_194;

const staticKey = secret
  .refine((text) => readStaticKey(text) !== null, {
    error: 'expected a static key, as `openvpn --genkey secret` makes: name it with `file:PATH`',
    abort: true,
  })
  .describe('The content of the static key file: `file:PATH`.');

const clientKey = secret
  .refine((text) => readClientKey(text) !== null, {
    error:
      'expected a client key, as `openvpn --genkey tls-crypt-v2-client` makes: name it with `file:PATH`',
    abort: true,
  })
  .describe('The content of a client key file made for the probe alone: `file:PATH`.');

const schema = z
  .strictObject({
    kind: z.literal('openvpn'),
    host,
    port: port.default(defaultPort),
    proto: z.enum(['udp', 'tcp'], 'expected udp or tcp').default('udp'),
    tlsAuth: z
      .strictObject({
        key: staticKey,
        direction: z
          .literal([0, 1, 'none'], 'expected 0, 1 or none')
          .default(1)
          .describe(
            "The `key-direction` of the server's clients: 1 where the server has 0; `none` where neither side has one.",
          ),
        auth: z
          .enum(['SHA1', 'SHA256', 'SHA512'], 'expected SHA1, SHA256 or SHA512')
          .default('SHA1')
          .describe('The `auth` of the server; SHA1 where it has none.'),
      })
      .optional()
      .describe('Where the server has `tls-auth`.'),
    tlsCrypt: z
      .strictObject({ key: staticKey })
      .optional()
      .describe('Where the server has `tls-crypt`.'),
    tlsCryptV2: z
      .strictObject({ key: clientKey })
      .optional()
      .describe('Where the server has `tls-crypt-v2`.'),
  })
  .superRefine(({ tlsAuth, tlsCrypt, tlsCryptV2 }, context) => {
    const given = Object.entries({ tlsAuth, tlsCrypt, tlsCryptV2 }).filter(([, key]) => key);
    const [, second] = given;
    if (!second) return;
    const message = 'expected one key: a server covers its control channel in one way';
    context.addIssue({ code: 'custom', path: [second[0]], message });
  });

export const openvpn = declare({
  kind: 'openvpn',
  schema,
  schemes: ['openvpn'],
  fromUrl: (url) => ({ kind: 'openvpn', ...onlyHostAndPort(url, defaultPort) }),
  where: (settings) => hostPort(settings.host, settings.port),
  // A server answers 100 openings in ten seconds, of all its clients together (`connect-freq-initial`).
  manners: { minGapMs: 10_000 },
});

export type OpenvpnSettings = z.output<typeof schema>;
