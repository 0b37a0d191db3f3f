/**
 * What an ErrorResponse of PostgreSQL means for an ordinary client.
 * Codes: PostgreSQL documentation, appendix A. Texts are in the server's language and are used only where the code does
 * not tell: what they decide is then a reason among two, or rests on a name that is the same in every language.
 */
import type { Reason } from '../base/reasons.ts';
import type { Trouble } from '../base/values.ts';
import { trouble } from './observe.ts';
import type { ServerError } from './postgres-messages.ts';

/** `own`: about the probe's account or its database, not about the service; null: that is no trouble without a password. */
type Meaning = { readonly reason: Reason; readonly hint?: string } | 'own';

const codes = new Map<string, Meaning>([
  // class 57: operator intervention
  ['57P01', { reason: 'shutting-down' }],
  ['57P02', { reason: 'shutting-down' }],
  // class 53: insufficient resources
  ['53300', { reason: 'too-many-connections' }],
  ['53100', { reason: 'server-error', hint: 'Its disk is full. Make room, then look at its log.' }],
  [
    '53200',
    { reason: 'server-error', hint: 'It is out of memory. Look at the memory of its host.' },
  ],
  // invalid_catalog_name (no such database), insufficient_privilege (no right to connect)
  ['3D000', 'own'],
  ['42501', 'own'],
  // protocol_violation, feature_not_supported: it dislikes how it is asked, as poolers do of an unknown account
  ['08P01', 'own'],
  ['0A000', 'own'],
]);

/** Null: a valid reply of a server that serves others. */
export function troubleOfError(error: ServerError, withPassword: boolean): Trouble | null {
  const said = `it says “${sayError(error)}”`;
  const meaning = meaningOf(error);
  if (meaning !== 'own') return trouble(meaning.reason, said, meaning.hint);
  return withPassword ? trouble('sign-in-refused', said) : null;
}

/** The server's own words, with its code. */
export function sayError({ code, message, detail }: ServerError): string {
  return [message, detail && `(${detail})`, code && `[${code}]`].filter(Boolean).join(' ');
}

function meaningOf(error: ServerError): Meaning {
  if (error.code === '57P03') return notNow(error.message);
  if (error.code.startsWith('28')) return signInRefused(error.message);
  return codes.get(error.code) ?? { reason: 'server-error' };
}

/** cannot_connect_now: starting, recovering or stopping, and only the text says which. Stopping is short, starting may last. */
function notNow(message: string): Meaning {
  return { reason: /shutting down/i.test(message) ? 'shutting-down' : 'starting-up' };
}

/** The file's name is in the message in every language: no entry, or one that rejects. */
function signInRefused(message: string): Meaning {
  if (!message.includes('pg_hba.conf')) return 'own';
  return {
    reason: 'address-refused',
    hint: "This is the probe's own trouble: allow this machine's address in pg_hba.conf, or ask with TLS. Others may be served.",
  };
}
