/**
 * What the tail holds, in memory: of each service its rows in the order in which they came, with what steps are made of.
 * Some 32 bytes a row, and the tail is kept short. So a read of one service touches no row of another.
 */
import type { Range } from '../record.ts';

export interface Entry {
  readonly service: number;
  readonly seq: number;
  readonly at: number;
  readonly outcome: number;
  readonly tookUs: number;
}

export interface Recent {
  /** Counts when it is settled. */
  note(entry: Entry): void;
  /** After the transaction: what was noted in it holds, or is forgotten. */
  settle(written: boolean): void;
  /** The row of the service that came last; null: it has none here. */
  newestSeq(service: number): number | null;
  /** Rows of the range in order of time, those of one instant as they came; the newest `countMax`. */
  seqs(service: number, range: Range, countMax: number): readonly number[];
  /** Shows the rows of the range in the order in which they came. */
  each(service: number, range: Range, see: SeeRow): void;
  instants(service: number): readonly number[];
  /** The rows of the service up to this one are elsewhere now. */
  leave(service: number, throughSeq: number): void;
  servicesCount(): number;
  count(): number;
  /** Whether an instant before this one is here, of any service. */
  reachesBefore(at: number): boolean;
}

export type SeeRow = (at: number, outcome: number, tookUs: number) => void;

/** Lists of numbers take less room than objects. The n-th of each belongs to the n-th row. */
interface Rows {
  readonly seqs: readonly number[];
  readonly ats: readonly number[];
  readonly outcomes: readonly number[];
  readonly tookUs: readonly number[];
}
type OpenRows = { readonly [list in keyof Rows]: number[] };

const noRows: Rows = { seqs: [], ats: [], outcomes: [], tookUs: [] };

/** `entries`: those that are there already, in the order in which they came. */
export function recentRows(entries: Iterable<Entry>): Recent {
  const services = new Map<number, OpenRows>();
  const noted: Entry[] = [];
  let count = 0;

  const keep = (entry: Entry): void => {
    const rows = services.get(entry.service) ?? openRows();
    services.set(entry.service, rows);
    rows.seqs.push(entry.seq);
    rows.ats.push(entry.at);
    rows.outcomes.push(entry.outcome);
    rows.tookUs.push(entry.tookUs);
    count++;
  };
  for (const entry of entries) keep(entry);
  const rowsOf = (service: number): Rows => services.get(service) ?? noRows;

  return {
    note: (entry) => void noted.push(entry),
    settle: (written) => {
      if (written) noted.forEach(keep);
      noted.length = 0;
    },
    newestSeq: (service) => rowsOf(service).seqs.at(-1) ?? null,
    seqs: (service, range, countMax) => newestSeqs(rowsOf(service), range, countMax),
    each: (service, { from, to }, see) => {
      const { ats, outcomes, tookUs } = rowsOf(service);
      ats.forEach((at, place) => {
        if (at >= from && at < to) see(at, outcomes[place] ?? 0, tookUs[place] ?? 0);
      });
    },
    instants: (service) => rowsOf(service).ats,
    leave: (service, throughSeq) => {
      const rows = rowsOf(service);
      const left = rowsAfter(rows, throughSeq);
      count -= rows.seqs.length - left.seqs.length;
      if (left.seqs.length > 0) services.set(service, left);
      else services.delete(service);
    },
    servicesCount: () => services.size,
    count: () => count,
    reachesBefore: (instant) =>
      [...services.values()].some(({ ats }) => ats.some((at) => at < instant)),
  };
}

function openRows(): OpenRows {
  return { seqs: [], ats: [], outcomes: [], tookUs: [] };
}

function newestSeqs({ seqs, ats }: Rows, { from, to }: Range, countMax: number): number[] {
  const places: number[] = [];
  ats.forEach((at, place) => {
    if (at >= from && at < to) places.push(place);
  });
  // The sort is stable, and nearly always there is nothing to do.
  places.sort((one, other) => (ats[one] ?? 0) - (ats[other] ?? 0));
  const skipped = Math.max(places.length - Math.max(countMax, 0), 0);
  return places.slice(skipped).map((place) => seqs[place] ?? 0);
}

/** In new lists: one that shrinks keeps the room that it once took. */
function rowsAfter({ seqs, ats, outcomes, tookUs }: Rows, seq: number): OpenRows {
  const found = seqs.findIndex((one) => one > seq);
  const first = found < 0 ? seqs.length : found;
  return {
    seqs: seqs.slice(first),
    ats: ats.slice(first),
    outcomes: outcomes.slice(first),
    tookUs: tookUs.slice(first),
  };
}
