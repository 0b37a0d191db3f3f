/**
 * Settings of the `mysql` probe. With an account it signs in and asks `SELECT 1`; without one it knocks in a way that
 * never makes the server block this machine's address.
 */
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

const defaultPort = 3_306;

const schema = z
  .strictObject({
    kind: z.literal('mysql'),
    host,
    port: port.default(defaultPort),
    user: databaseName
      .optional()
      .describe(
        'An account made for the probe, without any right (USAGE). Each sign-in lifts what may have counted against this address.',
      ),
    password: databasePassword.optional(),
    database: databaseName.optional(),
    finish: z
      .enum(['auto', 'made-up-user', 'greeting'], 'expected auto, made-up-user or greeting')
      .default('auto')
      .describe(
        'How it leaves without an account. `made-up-user` is refused, which no server holds against an address; `greeting` leaves at the greeting, for which a server blocks an address in the end, unless that is 127.0.0.1 or ::1 or it does not resolve names. `auto` takes the greeting only where the server has shown that it sees 127.0.0.1 or ::1.',
      ),
    tls: tlsUse
      .optional()
      .describe(
        '`offered`: where the server offers it; its certificate is then judged only when `certificate` is given. By default `offered` with an account or a `certificate`, otherwise `never`.',
      ),
    certificate: certificate.optional(),
  })
  .refine((all) => all.user !== undefined || all.password === undefined, {
    path: ['password'],
    error: 'expected a user with the password',
  })
  .refine((all) => all.user !== undefined || all.database === undefined, {
    path: ['database'],
    error: 'expected a user with the database',
  })
  .refine((all) => all.finish === 'auto' || all.user === undefined, {
    path: ['finish'],
    error: 'a user finishes by signing in',
  })
  .refine((all) => all.tls !== 'never' || all.certificate === undefined, {
    path: ['certificate'],
    error: 'there is no certificate with `tls: never`',
  })
  .refine(
    (all) => all.finish !== 'greeting' || (all.tls !== 'required' && all.certificate === undefined),
    { path: ['finish'], error: 'TLS begins after the greeting' },
  );

export const mysql = declare({
  kind: 'mysql',
  schema,
  schemes: ['mysql', 'mariadb'],
  fromUrl: (url) => databaseFromUrl('mysql', url, defaultPort),
  where: (settings) => hostPort(settings.host, settings.port),
  // Each exchange costs the server a thread and, without an account, a line in its log.
  manners: databaseManners,
});

export type MysqlSettings = z.output<typeof schema>;
