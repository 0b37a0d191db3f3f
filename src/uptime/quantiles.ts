/** Quantiles of latencies, exact: by the definitions of Hyndman & Fan, The American Statistician 50 (1996) 361–365. */
import type { Observation } from '../base/values.ts';

/**
 * Definition 7, linear between order statistics: what R, NumPy and spreadsheets mean by a quantile, and what p50, p95 and
 * p99 mean here. `sorted` ascends; `p` lies in 0…1. Null without samples.
 */
export function quantile(sorted: ArrayLike<number>, p: number): number | null {
  const position = p * (sorted.length - 1);
  const below = sorted[Math.floor(position)];
  const above = sorted[Math.ceil(position)];
  if (below === undefined || above === undefined) return null;
  return below + (position - Math.floor(position)) * (above - below);
}

/** Definition 1, the nearest rank: always one of the samples. Arguments as for `quantile`. */
export function nearestRank(sorted: readonly number[], p: number): number | null {
  const position = p * sorted.length;
  // 0.07 × 100 is a little more than 7 in binary fractions, and must not count as the eighth.
  const rank = Math.ceil(position * (1 - 4 * Number.EPSILON));
  return sorted[Math.max(rank, 1) - 1] ?? null;
}

/** What steps are made of. */
type Seen = Pick<Observation, 'at' | 'outcome' | 'tookUs'>;

/** What was seen in [at, at + step). */
export interface Step {
  readonly at: number;
  /** Observations of any outcome. */
  readonly count: number;
  readonly failed: number;
  /** Latencies of the answers (answered or limited) in whole microseconds; null where there was none. */
  readonly p50Us: number | null;
  readonly p95Us: number | null;
  readonly p99Us: number | null;
}

/**
 * Observations by steps of time from `from` up to `to`; the last step may be shorter, and steps without observations are
 * there too. How long a failure or a silence took says nothing of the latency of answers, and stays out of it.
 */
export function stepsOf(asked: {
  readonly observations: readonly Seen[];
  readonly from: number;
  readonly to: number;
  readonly stepMs: number;
}): readonly Step[] {
  const { from, to, stepMs } = asked;
  if (!(stepMs >= 1)) throw new RangeError(`a step of ${stepMs} ms never ends`);
  const steps = Array.from(
    { length: Math.max(0, Math.ceil((to - from) / stepMs)) },
    (_, index) => ({
      at: from + index * stepMs,
      observations: [] as Seen[],
    }),
  );
  for (const observation of asked.observations) {
    if (observation.at >= to) continue;
    steps[Math.floor((observation.at - from) / stepMs)]?.observations.push(observation);
  }
  return steps.map(({ at, observations }) => ({ at, ...summaryOf(observations) }));
}

function summaryOf(observations: readonly Seen[]): Omit<Step, 'at'> {
  const served = observations.filter(
    ({ outcome }) => outcome === 'answered' || outcome === 'limited',
  );
  const sorted = served.map(({ tookUs }) => tookUs).sort((a, b) => a - b);
  return {
    count: observations.length,
    failed: observations.filter(({ outcome }) => outcome === 'failed').length,
    p50Us: rounded(quantile(sorted, 0.5)),
    p95Us: rounded(quantile(sorted, 0.95)),
    p99Us: rounded(quantile(sorted, 0.99)),
  };
}

function rounded(value: number | null): number | null {
  return value === null ? null : Math.round(value);
}
