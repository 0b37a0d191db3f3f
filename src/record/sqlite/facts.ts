/** What services told of themselves: a row only when it is something else than before; the tail names it by number. */
import type { Database } from 'better-sqlite3';
import type { Facts } from '../../base/values.ts';

export interface FactsStore {
  /** The number of these facts; null: none were told. Within a transaction. */
  numberOf(service: number, facts: Facts): number | null;
  /** Looks facts up by number; one reader for one read, so that each is parsed once. */
  reader(service: number): (number: number | null) => Facts;
  /** After a transaction that was undone. */
  forget(): void;
}

interface Told {
  readonly number: number;
  readonly json: string;
}

export function factsStore(database: Database): FactsStore {
  const newest = database.prepare<[number], Told>(
    'SELECT number, json FROM facts WHERE service = ? ORDER BY number DESC LIMIT 1',
  );
  const insert = database.prepare<[number, number, string]>(
    'INSERT INTO facts (service, number, json) VALUES (?, ?, ?)',
  );
  const find = database.prepare<[number, number], { json: string }>(
    'SELECT json FROM facts WHERE service = ? AND number = ?',
  );
  const lastTold = new Map<number, Told>();

  return {
    numberOf: (service, facts) => {
      const json = JSON.stringify(facts);
      if (json === '{}') return null;
      const before = lastTold.get(service) ?? newest.get(service);
      const told = before?.json === json ? before : { number: (before?.number ?? 0) + 1, json };
      if (told !== before) insert.run(service, told.number, json);
      lastTold.set(service, told);
      return told.number;
    },
    reader: (service) => {
      const seen = new Map<number, Facts>();
      return (number) => {
        if (number === null) return {};
        const facts = seen.get(number) ?? JSON.parse(find.get(service, number)?.json ?? '{}');
        seen.set(number, facts);
        return facts;
      };
    },
    forget: () => lastTold.clear(),
  };
}
