/** Settings of the `postgres` probe. Without a password it asks up to the sign-in; with one it signs in and asks `SELECT 1`. */
import * as z from 'zod';
import { certificate } from './certificate.ts';
import {
  databaseFromUrl,
  databaseManners,
  databaseName,
  databasePassword,
  tlsUse,
} from './database.ts';
import { declare } from './declaration.ts';
import { host, hostPort, port } from './words.ts';

const defaultPort = 5_432;

const schema = z
  .strictObject({
    kind: z.literal('postgres'),
    host,
    port: port.default(defaultPort),
    user: databaseName
      .default('rollcall')
      .describe('Need not exist while no password is given: the server asks before it looks.'),
    database: databaseName.default('postgres'),
    password: databasePassword
      .optional()
      .describe('Of an account made for the probe: LOGIN, CONNECT on one database, nothing else.'),
    tls: tlsUse
      .default('offered')
      .describe(
        '`offered`: where the server offers it; its certificate is then judged only when `certificate` is given.',
      ),
    certificate: certificate.optional(),
  })
  .refine((all) => all.tls !== 'never' || all.certificate === undefined, {
    path: ['certificate'],
    error: 'there is no certificate with `tls: never`',
  });

export const postgres = declare({
  kind: 'postgres',
  schema,
  schemes: ['postgres', 'postgresql'],
  fromUrl: (url) => databaseFromUrl('postgres', url, defaultPort),
  where: (settings) => hostPort(settings.host, settings.port),
  // Each exchange costs the server a process.
  manners: databaseManners,
});

export type PostgresSettings = z.output<typeof schema>;
