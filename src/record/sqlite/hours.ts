/**
 * The way into the tail: for each hour, between which rows its observations lie. Held in memory (some 9000 entries a
 * year); saved once an hour, so that opening the record reads the last hour of the tail and not the whole of it.
 */
import type { Database } from 'better-sqlite3';
import type { Range } from '../record.ts';

const hourMs = 3_600_000;

/** Rows of one hour lie within [firstSeq, lastSeq], among rows of others. */
interface Extent {
  readonly firstSeq: number;
  readonly lastSeq: number;
}

/** A part of the tail, with the part of the asked range that falls into its hour. */
interface Stretch extends Extent, Range {}

export interface HourIndex {
  /** Row `seq` holds an observation of `at`. Within a transaction, as is `save`. */
  note(at: number, seq: number): void;
  /** Where an hour begins: saves all that is known up to here. */
  save(): void;
  /** After the transaction: what was noted in it holds, or is forgotten. */
  settle(written: boolean): void;
  /** Where observations of the range may lie, the newest hour first. */
  within(range: Range): readonly Stretch[];
}

type Extents = Map<number, Extent>;

export function hourIndex(database: Database): HourIndex {
  const upsert = database.prepare<[number, number, number]>(
    'INSERT OR REPLACE INTO tail_hours (hour, first_seq, last_seq) VALUES (?, ?, ?)',
  );
  const { settled, unsaved } = opened(database);
  const noted: Extents = new Map();
  let saving = false;

  return {
    note: (at, seq) => widen(noted, Math.floor(at / hourMs), { firstSeq: seq, lastSeq: seq }),
    save: () => {
      saving = [...noted.keys()].some((hour) => !settled.has(hour));
      if (!saving) return;
      for (const hour of new Set([...unsaved, ...noted.keys()])) {
        const extent = united(settled.get(hour), noted.get(hour));
        if (extent) upsert.run(hour, extent.firstSeq, extent.lastSeq);
      }
    },
    settle: (written) => {
      if (written) {
        if (saving) unsaved.clear();
        for (const [hour, extent] of noted) {
          widen(settled, hour, extent);
          if (!saving) unsaved.add(hour);
        }
      }
      noted.clear();
      saving = false;
    },
    within: ({ from, to }) =>
      [...settled]
        .filter(([hour]) => hour * hourMs < to && (hour + 1) * hourMs > from)
        .sort(([one], [other]) => other - one)
        .map(([hour, extent]) => ({
          ...extent,
          from: Math.max(from, hour * hourMs),
          to: Math.min(to, (hour + 1) * hourMs),
        })),
  };
}

/** What was saved, and what the tail holds since then. */
function opened(database: Database): { settled: Extents; unsaved: Set<number> } {
  const settled: Extents = new Map();
  const unsaved = new Set<number>();
  type Row = Extent & { readonly hour: number };
  const saved = database
    .prepare<[], Row>('SELECT hour, first_seq AS firstSeq, last_seq AS lastSeq FROM tail_hours')
    .all();
  for (const { hour, ...extent } of saved) settled.set(hour, extent);

  const lastSeq = saved.reduce((last, row) => Math.max(last, row.lastSeq), 0);
  const rows = database
    .prepare<[number], Row>(
      `SELECT at_ms / ${hourMs} AS hour, min(seq) AS firstSeq, max(seq) AS lastSeq
       FROM tail WHERE seq > ? GROUP BY 1`,
    )
    .all(lastSeq);
  for (const { hour, ...extent } of rows) {
    widen(settled, hour, extent);
    unsaved.add(hour);
  }
  return { settled, unsaved };
}

function widen(extents: Extents, hour: number, by: Extent): void {
  extents.set(hour, united(extents.get(hour), by) ?? by);
}

function united(one: Extent | undefined, other: Extent | undefined): Extent | undefined {
  if (!one || !other) return one ?? other;
  return {
    firstSeq: Math.min(one.firstSeq, other.firstSeq),
    lastSeq: Math.max(one.lastSeq, other.lastSeq),
  };
}
