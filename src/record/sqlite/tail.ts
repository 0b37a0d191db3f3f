/** The tail: every observation, appended in groups, found again by hour. */
import type { Database } from 'better-sqlite3';
import type { Facts, Observation, Phases } from '../../base/values.ts';
import type { ObservationEntry, Range } from '../record.ts';
import { newestOf } from './counts.ts';
import { factsStore } from './facts.ts';
import { hourIndex } from './hours.ts';
import type { ServiceKeys } from './services.ts';
import { outcomeNumbers, outcomesByNumber, phaseNames } from './stored.ts';
import { troubleColumns, troubleFrom } from './troubles.ts';

export interface Tail {
  /** Within a transaction, as is `save`. */
  add(entry: ObservationEntry): void;
  /** When all of a group were added. */
  save(): void;
  /** After the transaction: what was noted in it holds, or is forgotten. */
  settle(written: boolean): void;
  /** The observation of the service that was written last. */
  newest(serviceId: string): Observation | null;
  /** In order of time; the newest `countMax`. */
  read(serviceId: string, range: Range, countMax: number): Observation[];
}

interface Row {
  readonly at: number;
  readonly outcome: number;
  readonly tookUs: number;
  readonly facts: number | null;
  readonly resolveUs: number | null;
  readonly connectUs: number | null;
  readonly secureUs: number | null;
  readonly speakUs: number | null;
  readonly answerUs: number | null;
  readonly reason: string | null;
  readonly detail: string | null;
  readonly hint: string | null;
}

const columns = `at_ms AS at, outcome, took_us AS tookUs, facts, resolve_us AS resolveUs,
  connect_us AS connectUs, secure_us AS secureUs, speak_us AS speakUs, answer_us AS answerUs,
  reason, detail, hint`;

export function tailOf(database: Database, keys: ServiceKeys): Tail {
  const facts = factsStore(database);
  const hours = hourIndex(database);
  const { insert, newest, stretch } = statements(database);

  return {
    add: ({ serviceId, observation }) => {
      const { at, outcome, tookUs, phases, trouble } = observation;
      const service = keys.made(serviceId);
      const { lastInsertRowid } = insert.run(
        service,
        at,
        outcomeNumbers[outcome],
        tookUs,
        facts.numberOf(service, observation.facts),
        ...phaseNames.map((name) => phases[name] ?? null),
        ...(trouble ? troubleColumns(trouble) : [null, null, null]),
      );
      hours.note(at, Number(lastInsertRowid));
    },
    save: () => hours.save(),
    settle: (written) => {
      hours.settle(written);
      if (!written) facts.forget();
    },
    newest: (serviceId) => {
      const service = keys.known(serviceId);
      const row = service === null ? undefined : newest.get(service);
      return service === null || !row ? null : observationFrom(row, facts.reader(service));
    },
    read: (serviceId, range, countMax) => {
      const service = keys.known(serviceId);
      if (service === null) return [];
      const byHour: Row[][] = [];
      let count = 0;
      for (const { firstSeq, lastSeq, from, to } of hours.within(range)) {
        const rows = stretch.all(firstSeq, lastSeq, service, from, to);
        byHour.push(rows);
        count += rows.length;
        if (count >= countMax) break;
      }
      const factsOf = facts.reader(service);
      const rows = byHour.reverse().flat();
      return newestOf(rows, countMax).map((row) => observationFrom(row, factsOf));
    },
  };
}

function statements(database: Database) {
  return {
    insert: database.prepare(
      `INSERT INTO tail (service, at_ms, outcome, took_us, facts, resolve_us, connect_us, secure_us,
         speak_us, answer_us, reason, detail, hint)
       VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
    ),
    newest: database.prepare<[number], Row>(
      `SELECT ${columns} FROM tail WHERE service = ? ORDER BY seq DESC LIMIT 1`,
    ),
    stretch: database.prepare<[number, number, number, number, number], Row>(
      `SELECT ${columns} FROM tail
       WHERE seq BETWEEN ? AND ? AND service = ? AND at_ms >= ? AND at_ms < ? ORDER BY at_ms, seq`,
    ),
  };
}

function observationFrom(row: Row, factsOf: (number: number | null) => Facts): Observation {
  const outcome = outcomesByNumber[row.outcome];
  if (outcome === undefined) throw new Error(`The tail has an unknown outcome: ${row.outcome}.`);
  const phases: { -readonly [name in keyof Phases]: number } = {};
  for (const name of phaseNames) {
    const tookUs = row[name];
    if (tookUs !== null) phases[name] = tookUs;
  }
  return {
    at: row.at,
    outcome,
    tookUs: row.tookUs,
    phases,
    trouble: row.reason === null ? null : troubleFrom(row.reason, row.detail ?? '', row.hint),
    facts: factsOf(row.facts),
  };
}
