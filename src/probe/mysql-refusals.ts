/**
 * What an error packet of MySQL or MariaDB means for an ordinary client.
 * Codes: MySQL 8.0 Error Message Reference; MariaDB Error Code Reference for those from 1900 to 1999 and above 4000.
 */
import type { Reason } from '../base/reasons.ts';
import type { Trouble } from '../base/values.ts';
import type { ServerError } from './mysql-messages.ts';
import { trouble } from './observe.ts';

/** `own`: about the probe's account or its database, not about the service; no trouble without an account. */
type Meaning = { readonly reason: Reason; readonly hint?: string } | 'own';

const outOfMemory: Meaning = {
  reason: 'server-error',
  hint: 'It is out of memory. Look at the memory of its host.',
};
const ownLimit: Meaning = {
  reason: 'sign-in-refused',
  hint: "This is the probe's own trouble: its account has reached a limit of its own (MAX_USER_CONNECTIONS and the like). Others may be served.",
};
const stopping: Meaning = { reason: 'shutting-down' };

const codes = new Map<number, Meaning>([
  [1040, { reason: 'too-many-connections' }],
  [1053, stopping],
  // MariaDB: the connection was killed, which a server that stops does
  [1927, stopping],
  [
    1129,
    {
      reason: 'address-blocked',
      hint: 'Lift the block on the server: `mariadb-admin flush-hosts`, or TRUNCATE TABLE performance_schema.host_cache. It holds for every program at this address. Then see which of them drops its connections.',
    },
  ],
  [
    1130,
    {
      reason: 'address-refused',
      hint: "This is the probe's own trouble: no account of the server allows this machine's address. Make one for the probe. Others may be served.",
    },
  ],
  // not enough memory, disk or threads
  [1037, outOfMemory],
  [1038, outOfMemory],
  [1041, outOfMemory],
  [
    1135,
    { reason: 'server-error', hint: 'It cannot start threads. Look at the limits of its host.' },
  ],
  [1021, { reason: 'server-error', hint: 'Its disk is full. Make room, then look at its log.' }],
  [1203, ownLimit],
  [1226, ownLimit],
  // access denied to the server (with and without a password), to the database; no such database
  ...[1045, 1698, 1044, 1049].map(own),
  // bad handshake, old or unknown method of signing in, TLS required
  ...[1043, 1251, 1524, 3159].map(own),
  // password must be changed or has expired, account locked (MySQL, MariaDB), locked after wrong passwords (both)
  ...[1820, 1862, 3118, 4151, 3955, 4106].map(own),
]);

/** Null: a valid reply of a server that serves others. */
export function troubleOfError(error: ServerError, withAccount: boolean): Trouble | null {
  const said = `it says “${sayError(error)}”`;
  const meaning = codes.get(error.code) ?? { reason: 'server-error' };
  if (meaning !== 'own') return trouble(meaning.reason, said, meaning.hint);
  return withAccount ? trouble('sign-in-refused', said) : null;
}

/** The server's own words, with its code. */
export function sayError({ message, code }: ServerError): string {
  return `${message} [${code}]`.trim();
}

function own(code: number): [number, Meaning] {
  return [code, 'own'];
}
