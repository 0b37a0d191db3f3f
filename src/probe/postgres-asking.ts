/** What the parts of the `postgres` probe share: the exchange under way, and how one of them ends it. */
import type { Trouble } from '../base/values.ts';
import { type LooseFacts, trouble } from './observe.ts';
import { decodeMessage, type ServerMessage } from './postgres-messages.ts';
import { sayError, troubleOfError } from './postgres-refusals.ts';
import type { PostgresSettings } from './settings/postgres.ts';
import type { Wire } from './socket.ts';

export interface Asking {
  readonly settings: PostgresSettings;
  readonly wire: Wire;
}

/** What the asking came to; facts stand beside trouble too. */
export interface Found {
  /** Null: answered. */
  readonly trouble: Trouble | null;
  readonly facts: LooseFacts;
}

/** One part of the exchange: it worked, or all is said. */
export type Part<T> =
  | { readonly ok: true; readonly value: T }
  | { readonly ok: false; readonly found: Found };

/** Messages that move the exchange on. */
type Moving = Exclude<ServerMessage, { kind: 'error' | 'aside' }>;

export function going<T>(value: T): Part<T> {
  return { ok: true, value };
}

export function over(why: Trouble | null, facts: LooseFacts = {}): Part<never> {
  return { ok: false, found: { trouble: why, facts } };
}

/** The next message that matters. An error of the server ends the exchange, with or without trouble. */
export async function next({ settings, wire }: Asking): Promise<Part<Moving>> {
  for (;;) {
    const read = await wire.read(decodeMessage);
    if (!read.ok) return over(read.trouble);
    const message = read.value;
    if (message.kind === 'error') {
      const why = troubleOfError(message.error, settings.password !== undefined);
      return over(why, { refusal: sayError(message.error) });
    }
    if (message.kind !== 'aside') return going(message);
  }
}

/** A message that is right in itself and wrong at this point. */
export function outOfTurn({ wire }: Asking): Part<never> {
  return over(trouble('malformed', `${wire.where} sent a message out of turn`));
}
