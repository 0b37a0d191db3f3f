/**
 * What the record proves of each instant of a window: whether it was watched and asked for, and whether the service was
 * down, by the least, the likeliest and the most that the answers allow. Availability is reckoned from this alone.
 */
import type { UnconfirmedFailure } from '../base/values.ts';
import type { Interval, IntervalSet } from './intervals.ts';
import { clip, intersect, subtract, totalMs, union } from './intervals.ts';
import type { Course, Stretch } from './timeline.ts';
import { estimated, longest, shortest, stretchesOf } from './timeline.ts';

/**
 * What is asked: all that touches the window, nothing clipped; what lies outside does no harm.
 * The beginning of a span may lie up to one interval before its `from`: to a window that ends in the past belongs the
 * span that follows it. The open outage comes with its `lastFailedAt` as the judge holds it, else `high` is too good.
 */
export interface History extends Course {
  readonly unconfirmed: readonly UnconfirmedFailure[];
  /** Planned windows, which may overlap. */
  readonly planned: readonly Interval[];
  readonly window: Interval;
}

export interface Evidence {
  /** As asked, but not beyond `now`. */
  readonly window: Interval;
  readonly stretches: readonly Stretch[];
  /** Watched, inside the window or not. */
  readonly observed: IntervalSet;
  /** Planned, inside the window or not. */
  readonly planned: IntervalSet;
  /** Watched and not planned, in the window: what availability is a share of (IEC 60050-192: required time). */
  readonly required: IntervalSet;
  readonly down: DownTime;
}

/** Down time, inside the window or not, required or not. Each set holds the one before it. */
export interface DownTime {
  /** From the first to the last failed answer. */
  readonly least: IntervalSet;
  readonly estimated: IntervalSet;
  /** From the last good answer before to the first one after; each failure that nobody confirmed as well. */
  readonly most: IntervalSet;
}

export function evidenceOf(history: History): Evidence {
  const window = untilNow(history.window, history.now);
  const planned = union(history.planned);
  const stretches = stretchesOf(history);
  const observed = union(stretches.map(estimated));
  const down = stretches.filter(({ state }) => state === 'down');
  const doubtful = history.unconfirmed.flatMap((failure) => doubtOf(failure, observed));
  return {
    window,
    stretches,
    observed,
    planned,
    required: subtract(clip(observed, window), planned),
    down: {
      least: union(down.map(shortest)),
      estimated: union(down.map(estimated)),
      most: union([...down.map(longest), ...doubtful]),
    },
  };
}

/** Share of the required time that was not down; null where nothing was required. */
function shareWithout(down: IntervalSet, required: IntervalSet): number | null {
  const requiredMs = totalMs(required);
  return requiredMs === 0 ? null : (requiredMs - totalMs(intersect(down, required))) / requiredMs;
}

/** Availability by the likeliest down time, and its bounds by the most and the least. */
export function sharesOf({ required, down }: Pick<Evidence, 'required' | 'down'>): {
  readonly estimate: number | null;
  readonly low: number | null;
  readonly high: number | null;
} {
  return {
    estimate: shareWithout(down.estimated, required),
    low: shareWithout(down.most, required),
    high: shareWithout(down.least, required),
  };
}

/** Time of the window that was neither watched nor planned. */
export function unobservedMsOf({ window, observed, planned }: Evidence): number {
  return totalMs(subtract(subtract(union([window]), observed), planned));
}

/**
 * The time in which an unconfirmed failure may have been an outage: from the last good to the next good answer, as far
 * as it was watched without a break from the failures.
 */
function doubtOf(failure: UnconfirmedFailure, observed: IntervalSet): IntervalSet {
  const { lastGoodAt, firstFailedAt, lastFailedAt, nextGoodAt } = failure;
  const between = clip(observed, { from: lastGoodAt ?? firstFailedAt, to: nextGoodAt });
  return between.filter(({ from, to }) => from <= lastFailedAt && firstFailedAt < to);
}

/** The future is in no window. */
function untilNow(window: Interval, now: number): Interval {
  return { from: window.from, to: Math.max(window.from, Math.min(window.to, now)) };
}
