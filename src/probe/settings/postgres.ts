/** Settings of the `postgres` probe. Without a password it asks up to the sign-in; with one it signs in and asks `SELECT 1`. */
import { z } from 'zod';
import { certificate } from './certificate.ts';
import { databaseManners } from './database-manners.ts';
import { declare, hostAndPort } from './declaration.ts';
import { host, hostPort, port, secret } from './words.ts';

const defaultPort = 5_432;

/** Names are at most 63 bytes long in PostgreSQL (NAMEDATALEN); longer ones exist behind poolers. */
const name = z
  .string('expected a name')
  .min(1, 'expected a name that is not empty')
  .max(128, 'expected a name of at most 128 characters')
  .refine((text) => !text.includes('\0'), 'expected a name without NUL');

const schema = z
  .strictObject({
    kind: z.literal('postgres'),
    host,
    port: port.default(defaultPort),
    user: name
      .default('rollcall')
      .describe('Need not exist while no password is given: the server asks before it looks.'),
    database: name.default('postgres'),
    password: secret
      .max(1_024, 'expected a password of at most 1024 characters')
      .refine((text) => !text.includes('\0'), 'expected a password without NUL')
      .optional()
      .describe('Of an account made for the probe: LOGIN, CONNECT on one database, nothing else.'),
    tls: z
      .enum(['never', 'offered', 'required'], 'expected never, offered or required')
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
  fromUrl: (url) => {
    if (url.search !== '')
      throw new Error('expected no query: write the settings out, with `kind: postgres`');
    const user = decode(url.username);
    const password = decode(url.password);
    const database = decode(url.pathname.replace(/^\//, ''));
    return {
      kind: 'postgres',
      ...hostAndPort(url, defaultPort),
      ...(user === '' ? {} : { user }),
      ...(password === '' ? {} : { password }),
      ...(database === '' ? {} : { database }),
    };
  },
  where: (settings) => hostPort(settings.host, settings.port),
  // Each exchange costs the server a process.
  manners: databaseManners,
});

export type PostgresSettings = z.output<typeof schema>;

/** Without the text in the message: it may be a secret. */
function decode(part: string): string {
  try {
    return decodeURIComponent(part);
  } catch {
    throw new Error('expected user, password and database percent-encoded');
  }
}
