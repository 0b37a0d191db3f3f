/**
 * How late things begin that were due at an instant: the daemon's own measure of whether it keeps up. Counted in buckets
 * whose bounds grow by a fifth, over the last hour or two: bounded, whatever happens.
 */
import type { Clock } from './clock.ts';

/** Of the starts of the last hour or two; null where there was none. Milliseconds, quantiles to within a tenth. */
export interface Lateness {
  readonly startsCount: number;
  readonly p50Ms: number | null;
  readonly p99Ms: number | null;
  readonly maxMs: number | null;
  /** Turns that never came, because the one before began later than they were due. */
  readonly skippedCount: number;
}

export interface LatenessMeter {
  /** Something that comes every `everyMs` began `lateMs` after it was due. */
  began(lateMs: number, everyMs: number): void;
  lateness(): Lateness;
}

interface Hour {
  readonly sinceMs: number;
  /** Starts by bucket. */
  readonly starts: Uint32Array;
  maxMs: number;
  skipped: number;
}

const hourMs = 3_600_000;
/** Bucket n ≥ 1 holds what lies in (growthⁿ⁻¹, growthⁿ] milliseconds, bucket 0 all below; the last one all above. */
const growth = 1.2;
const logGrowth = Math.log(growth);
/** The last bound lies at a good ten minutes. */
const bucketsCount = 75;

export function latenessMeter(clock: Clock): LatenessMeter {
  let current = hourFrom(clock.monotonicMs());
  let before = current;

  /** An hour that is over stands beside the one that runs, until that is over too. */
  const turn = (nowMs: number) => {
    const agoMs = nowMs - current.sinceMs;
    if (agoMs < hourMs) return;
    const next = hourFrom(nowMs);
    before = agoMs < 2 * hourMs ? current : next;
    current = next;
  };

  return {
    began: (lateMs, everyMs) => {
      turn(clock.monotonicMs());
      const bucket = bucketOf(lateMs);
      current.starts[bucket] = (current.starts[bucket] ?? 0) + 1;
      current.maxMs = Math.max(current.maxMs, lateMs);
      current.skipped += Math.floor(lateMs / everyMs);
    },
    lateness: () => {
      turn(clock.monotonicMs());
      return summed(before === current ? [current] : [before, current]);
    },
  };
}

function hourFrom(sinceMs: number): Hour {
  return { sinceMs, starts: new Uint32Array(bucketsCount), maxMs: 0, skipped: 0 };
}

function bucketOf(lateMs: number): number {
  if (lateMs <= 1) return 0;
  return Math.min(Math.ceil(Math.log(lateMs) / logGrowth - 1e-9), bucketsCount - 1);
}

function summed(hours: readonly Hour[]): Lateness {
  const starts = Array.from({ length: bucketsCount }, (_, bucket) =>
    hours.reduce((sum, hour) => sum + (hour.starts[bucket] ?? 0), 0),
  );
  const startsCount = starts.reduce((sum, count) => sum + count, 0);
  const maxMs = Math.max(...hours.map((hour) => hour.maxMs));
  const quantile = (p: number) => {
    if (startsCount === 0) return null;
    let bucket = 0;
    for (let seen = starts[0] ?? 0; seen < p * startsCount; seen += starts[bucket] ?? 0) bucket++;
    return Math.min(middleOf(bucket), maxMs);
  };
  return {
    startsCount,
    p50Ms: quantile(0.5),
    p99Ms: quantile(0.99),
    maxMs: startsCount === 0 ? null : maxMs,
    skippedCount: hours.reduce((sum, hour) => sum + hour.skipped, 0),
  };
}

/** As far from either bound, relatively. */
function middleOf(bucket: number): number {
  return bucket === 0 ? 0.5 : (2 * growth ** bucket) / (growth + 1);
}
