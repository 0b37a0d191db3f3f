/** Settings of the `ikev2` probe: where the responder of an IPsec gateway listens. It needs no key. */
import * as z from 'zod';
import { declare, onlyHostAndPort } from './declaration.ts';
import { host, hostPort, port } from './words.ts';

const defaultPort = 500;

const schema = z.strictObject({
  kind: z.literal('ikev2'),
  host,
  port: port.default(defaultPort),
  marker: z
    .enum(['auto', 'yes', 'no'], 'expected auto, yes or no')
    .default('auto')
    .describe(
      'Four zero bytes before each message, as on port 4500, where ESP uses the same port. `auto`: on every port but 500.',
    ),
});

export const ikev2 = declare({
  kind: 'ikev2',
  schema,
  schemes: ['ikev2'],
  fromUrl: (url) => ({ kind: 'ikev2', ...onlyHostAndPort(url, defaultPort) }),
  where: (settings) => hostPort(settings.host, settings.port),
  // Each exchange costs the responder some lines in its log.
  manners: { minGapMs: 10_000 },
});

export type Ikev2Settings = z.output<typeof schema>;
