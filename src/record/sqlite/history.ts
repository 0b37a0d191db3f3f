/**
 * The course of a service, from wherever it lies: sealed days, chunks, the tail, and what waits to be written. It is read
 * day by day, each day at one go: what moves from one place to another meanwhile stays within its day.
 */

import { othersFirst } from '../../base/turns.ts';
import type { Facts, Observation } from '../../base/values.ts';
import type { FactsChange, Range, Record } from '../record.ts';
import type { Block } from './blocks.ts';
import { newestOf } from './counts.ts';
import { common, dayOf, rangeOfDay } from './days.ts';
import { type LatencyTally, latencyOfBucket, latencyTally } from './latencies.ts';
import type { Queue } from './queue.ts';
import type { SeeRow } from './recent.ts';
import { observationFrom } from './rows.ts';
import { type Columns, rowsOf } from './sealed/block.ts';
import { type Tally, tallyOf } from './steps.ts';
import type { Store } from './store.ts';
import { outcomeNumbers } from './stored.ts';

interface HistoryGiven {
  readonly store: () => Store;
  readonly queue: Pick<Queue, 'observationsOf'>;
}

export type History = Pick<Record, 'observations' | 'steps' | 'latencies' | 'factsChanges'>;

export function historyOf(given: HistoryGiven): History {
  return {
    observations: async (serviceId, range, countMax = Number.POSITIVE_INFINITY) => {
      const days: (readonly Observation[])[] = [];
      let left = countMax;
      await eachDay(given, { serviceId, range, newestFirst: true }, (place) => {
        const found = observationsAt(place, left);
        days.push(found);
        left -= found.length;
        return left > 0;
      });
      return days.reverse().flat();
    },
    steps: async (serviceId, range, stepMs) => {
      const tally = tallyOf(range, stepMs);
      await eachDay(given, { serviceId, range }, (place) => {
        addSteps(tally, place);
        return true;
      });
      return tally.steps();
    },
    latencies: async (serviceId, range) => {
      const tally = latencyTally();
      await eachDay(given, { serviceId, range }, (place) => {
        addLatencies(tally, place);
        return true;
      });
      return tally.latencies();
    },
    factsChanges: async (serviceId, range, countMax) => {
      const { tables, facts } = given.store();
      const service = tables.keys.known(serviceId);
      const queued = given.queue.observationsOf(serviceId);
      const waiting = changesIn(queued, service === null ? null : facts.newest(service));
      const written = service === null ? [] : facts.changes(service, range, countMax);
      return [...waiting.filter(isWithin(range)).reverse(), ...written].slice(0, countMax);
    },
  };
}

/** In the order in which they came. `told`: what was told before the first of them. */
function changesIn(observations: readonly Observation[], told: Facts | null): FactsChange[] {
  const changes: FactsChange[] = [];
  let before = told;
  for (const { at, facts: after } of observations) {
    if (Object.keys(after).length === 0) continue;
    if (before && JSON.stringify(before) !== JSON.stringify(after)) {
      changes.push({ at, before, after });
    }
    before = after;
  }
  return changes;
}

interface Course {
  readonly serviceId: string;
  readonly range: Range;
  readonly newestFirst?: boolean;
}

/** Where the observations of one service are in a UTC day, as far as it lies in the range. */
interface Place {
  readonly store: Store;
  /** Null: nothing of it was ever written. */
  readonly service: number | null;
  readonly range: Range;
  /** In the order in which their rows came. */
  readonly blocks: readonly Block[];
  readonly queued: readonly Observation[];
}

/** Days that are read before others get their turn. */
const daysAtOnce = 32;

/** As long as `visit` wants more. It must not wait: between two of its looks everything may be somewhere else. */
async function eachDay(
  { store, queue }: HistoryGiven,
  { serviceId, range, newestFirst = false }: Course,
  visit: (place: Place) => boolean,
): Promise<void> {
  const days = daysOf(store(), queue.observationsOf(serviceId), { serviceId, range });
  if (newestFirst) days.reverse();
  for (const [nth, day] of days.entries()) {
    if (nth % daysAtOnce === daysAtOnce - 1) await othersFirst();
    const part = common(range, rangeOfDay(day));
    const service = store().tables.keys.known(serviceId);
    const place: Place = {
      store: store(),
      service,
      range: part,
      blocks: service === null ? [] : store().blocks.ofDay(service, day).filter(touches(part)),
      queued: queue.observationsOf(serviceId).filter(isWithin(part)),
    };
    if (!visit(place)) return;
  }
}

/** Ascending. */
function daysOf(
  { tables, tail, blocks }: Store,
  queued: readonly Observation[],
  { serviceId, range }: Course,
): number[] {
  const service = tables.keys.known(serviceId);
  const instants = [
    ...queued.map(({ at }) => at),
    ...(service === null ? [] : tail.instants(service)),
  ];
  const days = new Set(service === null ? [] : blocks.days(service, range));
  for (const at of instants) if (at >= range.from && at < range.to) days.add(dayOf(at));
  return [...days].sort((one, other) => one - other);
}

function isWithin({ from, to }: Range): (found: { readonly at: number }) => boolean {
  return ({ at }) => at >= from && at < to;
}

function touches({ from, to }: Range): (block: Block) => boolean {
  return ({ firstAt, lastAt }) => firstAt < to && lastAt >= from;
}

/** In order of time; the newest `countMax`. */
function observationsAt(place: Place, countMax: number): readonly Observation[] {
  const { store, service, range, blocks, queued } = place;
  if (service === null) return newestOf([...queued].sort(byInstant), countMax);
  const rows = blocks.flatMap((block) => {
    const columns = block.columns();
    if (!columns) return [];
    const { first, end } = rowsWithin(columns, range);
    return rowsOf(columns, Math.max(first, end - countMax), end);
  });
  rows.push(...store.tail.rows(service, range, countMax));
  const factsOf = store.facts.reader(service);
  const found = [...rows.map((row) => observationFrom(row, factsOf)), ...queued];
  // The sort is stable: what came first stands first where two have the same instant.
  return newestOf(found.sort(byInstant), countMax);
}

function byInstant(one: Observation, other: Observation): number {
  return one.at - other.at;
}

function addSteps(tally: Tally, { store, service, range, blocks, queued }: Place): void {
  for (const block of blocks) {
    const step = tally.stepOf(block.firstAt, block.lastAt);
    if (step === null) eachRow(block.columns(), range, tally.add);
    else {
      const sketches = block.sketches();
      if (sketches) tally.addMany(step, block, sketches.tookUs);
    }
  }
  if (service !== null) store.tail.each(service, range, tally.add);
  for (const { at, outcome, tookUs } of queued) tally.add(at, outcomeNumbers[outcome], tookUs);
}

function addLatencies(tally: LatencyTally, place: Place): void {
  const { store, service, range, blocks, queued } = place;
  for (const block of blocks) {
    if (block.firstAt < range.from || block.lastAt >= range.to) {
      eachRow(block.columns(), range, (_, outcome, tookUs) =>
        tally.add({ outcome, tookUs, phases: {} }),
      );
    } else {
      const sketches = block.sketches();
      if (sketches) tally.addMany(block, sketches);
    }
  }
  if (service !== null)
    store.tail.rows(service, range, Number.POSITIVE_INFINITY).forEach(tally.add);
  for (const { outcome, tookUs, phases } of queued) {
    tally.add({ outcome: outcomeNumbers[outcome], tookUs, phases });
  }
}

/** Null: there are none that could be read. */
function eachRow(columns: Columns | null, range: Range, see: SeeRow): void {
  if (!columns) return;
  const { first, end } = rowsWithin(columns, range);
  const { at, outcome, bucket } = columns;
  for (let row = first; row < end; row++) {
    see(at[row] ?? 0, outcome[row] ?? 0, latencyOfBucket(bucket[row] ?? 0));
  }
}

function rowsWithin({ at }: Columns, { from, to }: Range): { first: number; end: number } {
  return { first: placeOf(from, at), end: placeOf(to, at) };
}

/** Of the first that is not less. */
function placeOf(instant: number, ascending: Float64Array): number {
  let [first, end] = [0, ascending.length];
  while (first < end) {
    const middle = (first + end) >> 1;
    if ((ascending[middle] ?? 0) < instant) first = middle + 1;
    else end = middle;
  }
  return first;
}
