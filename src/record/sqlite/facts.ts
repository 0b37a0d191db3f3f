/** What services told of themselves: a row only when it is something else than before; the tail names it by number. */
import type { Database } from 'better-sqlite3';
import type { Facts } from '../../base/values.ts';
import type { FactsChange, Range } from '../record.ts';
import { limitOf } from './counts.ts';

export interface FactsStore {
  /** The number of these facts, told at this instant; null: none were told. Within a transaction. */
  numberOf(service: number, facts: Facts, at: number): number | null;
  /** The facts that were told last; null: none ever. */
  newest(service: number): Facts | null;
  /** Newest first; `before` of the first is not known, so it is none. */
  changes(service: number, range: Range, countMax: number): readonly FactsChange[];
  /** Looks facts up by number; one reader for one read, so that each is parsed once. */
  reader(service: number): (number: number | null) => Facts;
  /** After a transaction that was undone. */
  forget(): void;
}

interface ChangeRow {
  readonly at: number;
  readonly earlierJson: string;
  readonly json: string;
}

interface Told {
  readonly number: number;
  readonly json: string;
}

export function factsStore(database: Database): FactsStore {
  const newest = database.prepare<[number], Told>(
    'SELECT number, json FROM facts WHERE service = ? ORDER BY number DESC LIMIT 1',
  );
  const insert = database.prepare<[number, number, string, number]>(
    'INSERT INTO facts (service, number, json, since_ms) VALUES (?, ?, ?, ?)',
  );
  const changes = database.prepare<[number, number, number, number], ChangeRow>(
    `SELECT told.since_ms AS at, earlier.json AS earlierJson, told.json AS json FROM facts AS told
     JOIN facts AS earlier ON earlier.service = told.service AND earlier.number = told.number - 1
     WHERE told.service = ? AND told.since_ms >= ? AND told.since_ms < ?
     ORDER BY told.number DESC LIMIT ?`,
  );
  const find = database.prepare<[number, number], { json: string }>(
    'SELECT json FROM facts WHERE service = ? AND number = ?',
  );
  const lastTold = new Map<number, Told>();

  return {
    numberOf: (service, facts, at) => {
      if (Object.keys(facts).length === 0) return null;
      const json = JSON.stringify(facts);
      const before = lastTold.get(service) ?? newest.get(service);
      const told = before?.json === json ? before : { number: (before?.number ?? 0) + 1, json };
      if (told !== before) insert.run(service, told.number, json, at);
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
    newest: (service) => {
      const told = newest.get(service);
      return told ? JSON.parse(told.json) : null;
    },
    changes: (service, { from, to }, countMax) =>
      changes.all(service, from, to, limitOf(countMax)).map(({ at, earlierJson, json }) => ({
        at,
        before: JSON.parse(earlierJson),
        after: JSON.parse(json),
      })),
    forget: () => lastTold.clear(),
  };
}
