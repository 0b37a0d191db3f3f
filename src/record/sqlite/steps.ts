/**
 * Observations by steps of time without an object of each: the same as `stepsOf` of `uptime/quantiles.ts` makes of them.
 * What lies within one step can be added as a sketch.
 */
import { quantile, type Step } from '../../uptime/quantiles.ts';
import { mergedSketch, type Sketch, sketchOf, sketchQuantile } from '../../uptime/sketch.ts';
import type { Range } from '../record.ts';
import type { OutcomeCounts } from './latencies.ts';
import { outcomeNumbers } from './stored.ts';

export interface Tally {
  /** Does not count what lies outside of the range. `outcome` by number. */
  add(at: number, outcome: number, tookUs: number): void;
  /** The step that the whole of [firstAt, lastAt] falls into; null: there is no such one. */
  stepOf(firstAt: number, lastAt: number): number | null;
  /** Many at once: `latencies` are those of the answers among them. */
  addMany(step: number, counts: OutcomeCounts, latencies: Sketch): void;
  steps(): readonly Step[];
}

export function tallyOf({ from, to }: Range, stepMs: number): Tally {
  if (!(stepMs >= 1)) throw new RangeError(`a step of ${stepMs} ms never ends`);
  const length = Math.max(0, Math.ceil((to - from) / stepMs));
  const counts = new Uint32Array(length);
  const failed = new Uint32Array(length);
  const latencies = latenciesBy(length);
  const sketches = new Map<number, Sketch[]>();

  return {
    add: (at, outcome, tookUs) => {
      if (at < from || at >= to) return;
      const step = Math.floor((at - from) / stepMs);
      raise(counts, step, 1);
      if (outcome === outcomeNumbers.failed) raise(failed, step, 1);
      if (isServed(outcome)) latencies.add(step, tookUs);
    },
    stepOf: (firstAt, lastAt) => {
      const step = Math.floor((firstAt - from) / stepMs);
      const within = firstAt >= from && lastAt < to && lastAt < from + (step + 1) * stepMs;
      return within ? step : null;
    },
    addMany: (step, { answered, limited, failed: failedCount, unproven }, sketch) => {
      raise(counts, step, answered + limited + failedCount + unproven);
      raise(failed, step, failedCount);
      const known = sketches.get(step);
      if (known) known.push(sketch);
      else sketches.set(step, [sketch]);
    },
    steps: () => {
      const sortedOf = latencies.sorted();
      const steps: Step[] = [];
      for (let step = 0; step < length; step++) {
        steps.push({
          at: from + step * stepMs,
          count: counts[step] ?? 0,
          failed: failed[step] ?? 0,
          ...quantilesOf(sortedOf(step), sketches.get(step)),
        });
      }
      return steps;
    },
  };
}

function isServed(outcome: number): boolean {
  return outcome === outcomeNumbers.answered || outcome === outcomeNumbers.limited;
}

type Quantiles = Pick<Step, 'p50Us' | 'p95Us' | 'p99Us'>;

const noQuantiles: Quantiles = { p50Us: null, p95Us: null, p99Us: null };

/** Of single values alone as they are; where there are sketches too, all of them as one sketch. */
function quantilesOf(sorted: Float64Array, sketches: readonly Sketch[] | undefined): Quantiles {
  if (sketches) {
    const all = mergedSketch([...sketches, sketchOf(sorted)]);
    return quantilesBy((p) => sketchQuantile(all, p));
  }
  return sorted.length === 0 ? noQuantiles : quantilesBy((p) => quantile(sorted, p));
}

/** In whole microseconds. */
function quantilesBy(quantileOf: (p: number) => number | null): Quantiles {
  const rounded = (p: number): number | null => {
    const value = quantileOf(p);
    return value === null ? null : Math.round(value);
  };
  return { p50Us: rounded(0.5), p95Us: rounded(0.95), p99Us: rounded(0.99) };
}

/**
 * Collects values in any order, and gives those of each step in order of size. In typed arrays that double: lists that grow
 * by themselves took five times as long for a month.
 */
function latenciesBy(length: number) {
  let steps = new Uint32Array(4_096);
  let values = new Float64Array(4_096);
  let count = 0;
  const grow = (): void => {
    const before = { steps, values };
    steps = new Uint32Array(2 * count);
    steps.set(before.steps);
    values = new Float64Array(2 * count);
    values.set(before.values);
  };
  return {
    add: (step: number, value: number): void => {
      if (count === values.length) grow();
      steps[count] = step;
      values[count] = value;
      count++;
    },
    /** Puts them beside each other by step, in one list. */
    sorted: (): ((step: number) => Float64Array) => {
      const ends = new Uint32Array(length + 1);
      for (const step of steps.subarray(0, count)) raise(ends, step + 1, 1);
      for (let step = 0; step < length; step++) raise(ends, step + 1, ends[step] ?? 0);
      const next = ends.slice();
      const placed = new Float64Array(count);
      for (let nth = 0; nth < count; nth++) {
        placed[raise(next, steps[nth] ?? 0, 1) - 1] = values[nth] ?? 0;
      }
      return (step) => ascending(placed.subarray(ends[step], ends[step + 1]));
    },
  };
}

/** Returns what it is then. */
function raise(counts: Uint32Array, place: number, by: number): number {
  const raised = (counts[place] ?? 0) + by;
  counts[place] = raised;
  return raised;
}

/** In place. For the few values of a short step the sort that comes with the language has much to prepare. */
function ascending(values: Float64Array): Float64Array {
  if (values.length > 24) return values.sort();
  for (let end = 1; end < values.length; end++) {
    const value = values[end] ?? 0;
    let place = end;
    for (; place > 0 && (values[place - 1] ?? 0) > value; place--) {
      values[place] = values[place - 1] ?? 0;
    }
    values[place] = value;
  }
  return values;
}
