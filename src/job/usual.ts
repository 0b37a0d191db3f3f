/**
 * What is usual for a job, and whether a run is unlike it. Robust: by the median of its last runs that ended well, and the
 * median distance from it (MAD), so that one strange run changes neither. Nothing is usual before five runs.
 *
 * - A run is slow that takes more than three times the usual, and ten seconds more.
 * - A number that a job tells, and the size of its output, are usual within half of the median or five scaled MADs of it,
 *   whichever is more; but less than a tenth of the median never is: five MADs may reach below zero, and a backup
 *   with nothing in it must not pass for a small one. An output may grow as it likes.
 */
import type { JobRun } from '../base/jobs.ts';

/** So many runs make something usual; of so many, the newest, it is worked out. */
const usualRunsCountMin = 5;
const usualRunsCountMax = 20;

const slowFactor = 3;
const slowMsMin = 10_000;

/** Makes the MAD of a normal distribution its standard deviation: 1 ÷ Φ⁻¹(¾). */
const madScale = 1.4826;
const spreadFactor = 5;

/** What is strange about a run that ended well. */
export type Unlike =
  | { readonly kind: 'slow'; readonly tookMs: number; readonly usualMs: number }
  | {
      readonly kind: 'value';
      readonly value: number;
      readonly unit: string | null;
      readonly usual: number;
    }
  | { readonly kind: 'size'; readonly sizeBytes: number; readonly usual: number };

/** After how long a run is slow; null: nothing is usual yet. `earlier`: runs before it, in any order. */
export function slowAfterMs(
  earlier: readonly JobRun[],
): { readonly ms: number; readonly usualMs: number } | null {
  const usualMs = medianOf(newest(earlier, durationOf));
  if (usualMs === null) return null;
  return { ms: Math.max(slowFactor * usualMs, usualMs + slowMsMin), usualMs };
}

/** `run` ended well; null: it is like those before it. */
export function unlike(run: JobRun, earlier: readonly JobRun[]): Unlike | null {
  const { value, unit, sizeBytes } = run;
  const usualValue = usualOf(newest(earlier, (one) => (one.unit === unit ? one.value : null)));
  if (value !== null && usualValue && !isWithin(value, usualValue)) {
    return { kind: 'value', value, unit, usual: usualValue.median };
  }
  const usualSize = usualOf(newest(earlier, (one) => one.sizeBytes));
  if (sizeBytes !== null && usualSize && sizeBytes < usualSize.low) {
    return { kind: 'size', sizeBytes, usual: usualSize.median };
  }
  const slow = slowAfterMs(earlier);
  const tookMs = durationOf(run);
  return slow && tookMs !== null && tookMs > slow.ms
    ? { kind: 'slow', tookMs, usualMs: slow.usualMs }
    : null;
}

/** Null: its beginning or its end is not known. */
export function durationOf({ beganAt, endedAt }: JobRun): number | null {
  return beganAt === null || endedAt === null ? null : Math.max(endedAt - beganAt, 0);
}

interface Usual {
  readonly median: number;
  readonly low: number;
  readonly high: number;
}

function usualOf(values: readonly number[]): Usual | null {
  const median = medianOf(values);
  if (median === null) return null;
  const distances = values.map((value) => Math.abs(value - median));
  const mad = medianOf(distances) ?? 0;
  const reach = Math.max(Math.abs(median) / 2, spreadFactor * madScale * mad);
  const low = median > 0 ? Math.max(median - reach, median / 10) : median - reach;
  return { median, low, high: median + reach };
}

function isWithin(value: number, { low, high }: Usual): boolean {
  return value >= low && value <= high;
}

/** Of the newest runs that ended well and have it. */
function newest(runs: readonly JobRun[], of: (run: JobRun) => number | null): readonly number[] {
  return runs
    .filter(({ exit, endedAt }) => exit === 0 && endedAt !== null)
    .sort((one, other) => (other.endedAt ?? 0) - (one.endedAt ?? 0))
    .flatMap((run) => of(run) ?? [])
    .slice(0, usualRunsCountMax);
}

/** Null: there are too few. */
function medianOf(values: readonly number[]): number | null {
  if (values.length < usualRunsCountMin) return null;
  const sorted = [...values].sort((one, other) => one - other);
  const upper = sorted[Math.floor(sorted.length / 2)] ?? 0;
  const lower = sorted[Math.ceil(sorted.length / 2) - 1] ?? 0;
  return (lower + upper) / 2;
}
