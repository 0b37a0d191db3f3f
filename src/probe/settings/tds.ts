/** Settings of the `tds` probe: PRELOGIN to a Microsoft SQL Server, or to what speaks its protocol; never a sign-in. */
import * as z from 'zod';
import { certificate } from './certificate.ts';
import { databaseManners } from './database.ts';
import { declare, onlyHostAndPort } from './declaration.ts';
import { host, hostPort, port } from './words.ts';

const defaultPort = 1_433;

const schema = z.strictObject({
  kind: z.literal('tds'),
  host,
  port: port.default(defaultPort),
  instance: z
    .string('expected the name of an instance')
    .regex(/^[\p{L}_#&][\p{L}\p{N}_#$]{0,15}$/u, 'expected the name of an instance')
    .optional()
    .describe('The server must then say that it is this instance.'),
  encryption: z
    .enum(['auto', 'strict'], 'expected auto or strict')
    .default('auto')
    .describe(
      '`strict`: TLS first, as TDS 8.0 wants it. `auto` tries that when the server closes at the question in the clear.',
    ),
  certificate: certificate
    .optional()
    .describe('It is judged where TLS comes first: a client of TDS 8.0 does so always.'),
});

export const tds = declare({
  kind: 'tds',
  schema,
  schemes: ['tds'],
  fromUrl: (url) => ({ kind: 'tds', ...onlyHostAndPort(url, defaultPort) }),
  where: (settings) => hostPort(settings.host, settings.port),
  manners: databaseManners,
});

export type TdsSettings = z.output<typeof schema>;
