/** The tail: every observation as it came, appended in groups, until it is put away in chunks. */
import type { Database } from 'better-sqlite3';
import type { Observation } from '../../base/values.ts';
import type { ObservationEntry, Range } from '../record.ts';
import type { FactsStore } from './facts.ts';
import { type Entry, type Recent, recentRows, type SeeRow } from './recent.ts';
import { rowChecksum } from './row-checksums.ts';
import { type FlatRow, observationFrom, rowColumns, rowFrom } from './rows.ts';
import type { Row } from './sealed/block.ts';
import type { ServiceKeys } from './services.ts';
import { outcomeNumbers } from './stored.ts';
import { troubleColumns } from './troubles.ts';

export interface Tail {
  /** Within a transaction. */
  add(entry: ObservationEntry): void;
  /** After the transaction: what was added in it holds, or is forgotten. */
  settle(written: boolean): void;
  /** The observation of the service that was written last, also when it has left the tail. */
  newest(serviceId: string): Observation | null;
  /** In order of time, those of one instant as they came; the newest `countMax`. */
  rows(service: number, range: Range, countMax: number): readonly Row[];
  /** Shows those of the range, in the order in which they came. */
  each(service: number, range: Range, see: SeeRow): void;
  instants(service: number): readonly number[];
  /** Of these services everything up to these rows has become chunks: `moved` says so in the file. */
  left(moved: readonly Moved[]): void;
  /** The last row that was written; 0 before the first. */
  lastSeq(): number;
  /** Rows that are part of the record. */
  count(): number;
  /** Services that have any. */
  servicesCount(): number;
  /** Whether it holds an instant before this one. */
  reachesBefore(at: number): boolean;
}

/** How far the rows of a service have become chunks. */
export interface Moved {
  readonly service: number;
  readonly seq: number;
}

const noTrouble = [null, null, null] as const;

export function tailOf(database: Database, keys: ServiceKeys, facts: FactsStore): Tail {
  const { insert, row, movedRow } = statements(database);
  const recent = opened(database);
  let lastSeq = lastSeqIn(database);
  let settledSeq = lastSeq;

  const add = ({ serviceId, observation }: ObservationEntry): void => {
    const { at, tookUs, phases, trouble } = observation;
    const service = keys.made(serviceId);
    const outcome = outcomeNumbers[observation.outcome];
    const seq = lastSeq + 1;
    const values = [
      seq,
      service,
      at,
      outcome,
      tookUs,
      facts.numberOf(service, observation.facts, at),
      phases.resolveUs ?? null,
      phases.connectUs ?? null,
      phases.secureUs ?? null,
      phases.speakUs ?? null,
      phases.answerUs ?? null,
      ...(trouble ? troubleColumns(trouble) : noTrouble),
    ];
    const crc = rowChecksum(values);
    values.push(crc);
    insert.run(values);
    lastSeq = seq;
    recent.note({ service, seq, at, outcome, tookUs });
  };

  return {
    add,
    settle: (written) => {
      recent.settle(written);
      if (written) settledSeq = lastSeq;
      else {
        lastSeq = settledSeq;
        facts.forget();
      }
    },
    newest: (serviceId) => {
      const service = keys.known(serviceId);
      if (service === null) return null;
      const seq = recent.newestSeq(service);
      const found = seq === null ? movedRow.get(service) : row.get(seq);
      return found ? observationFrom(rowFrom(found), facts.reader(service)) : null;
    },
    rows: (service, range, countMax) =>
      recent.seqs(service, range, countMax).flatMap((seq) => {
        const found = row.get(seq);
        return found ? rowFrom(found) : [];
      }),
    ...seen(recent),
    lastSeq: () => settledSeq,
  };
}

/** What is known without a look into the file. */
function seen(recent: Recent) {
  return {
    each: recent.each,
    instants: recent.instants,
    left: (moved) => {
      for (const { service, seq } of moved) recent.leave(service, seq);
    },
    count: recent.count,
    servicesCount: recent.servicesCount,
    reachesBefore: recent.reachesBefore,
  } satisfies Partial<Tail>;
}

function statements(database: Database) {
  return {
    insert: database.prepare(
      `INSERT INTO tail (seq, service, at_ms, outcome, took_us, facts, resolve_us, connect_us, secure_us,
         speak_us, answer_us, reason, detail, hint, crc)
       VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
    ),
    row: database.prepare<[number], FlatRow>(`SELECT ${rowColumns} FROM tail WHERE seq = ?`),
    movedRow: database.prepare<[number], FlatRow>(
      `SELECT ${rowColumns} FROM moved WHERE service = ?`,
    ),
  };
}

/**
 * Rows are counted on from here. Not from the tail alone: where all of it has become chunks, SQLite would begin with 1
 * again, and `moved` would say of new rows that they are chunks.
 */
function lastSeqIn(database: Database): number {
  const last = database.prepare<[], { last: number | null }>(
    `SELECT max(seq) AS last FROM (SELECT max(seq) AS seq FROM tail UNION ALL SELECT max(seq) FROM moved)`,
  );
  return last.get()?.last ?? 0;
}

function opened(database: Database): Recent {
  const rows = database.prepare<[], Entry>(
    `SELECT t.service, t.seq, t.at_ms AS at, t.outcome, t.took_us AS tookUs
     FROM tail t LEFT JOIN moved m ON m.service = t.service
     WHERE t.seq > coalesce(m.seq, 0) ORDER BY t.seq`,
  );
  return recentRows(rows.iterate());
}
