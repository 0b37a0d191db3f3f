/**
 * What the record means: availability of one service over a window with its bounds, and the mean times of dependability.
 *
 * Words and definitions: IEC 60050-192:2015. Times are integer milliseconds; means are rounded to whole ones.
 */
import type { UnconfirmedFailure } from '../base/values.ts';
import type { Interval, IntervalSet } from './intervals.ts';
import { clip, intersect, subtract, totalMs, union } from './intervals.ts';
import { type MtbfBounds, mtbfBounds } from './mtbf-bounds.ts';
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

export interface Availability {
  /** The window that the figures are of: as asked, but not beyond `now`. */
  readonly from: number;
  readonly to: number;
  /** Share of the required time (window − unobserved − planned) in which it was up or degraded; null where that is empty. */
  readonly estimate: number | null;
  /** The same if every outage lasted as long as the answers allow and every unconfirmed failure was one. */
  readonly low: number | null;
  /** The same if every outage lasted only from its first to its last failed answer. */
  readonly high: number | null;
  // The next five add up to the window. Planned time is taken out of the state that it lies over, `unobserved` too.
  readonly upMs: number;
  readonly degradedMs: number;
  readonly downMs: number;
  readonly unobservedMs: number;
  readonly plannedMs: number;
  /** Part of `downMs` behind the outage of a needed service (IEC 60050-192: externally disabled time, no down time of its own). */
  readonly externallyDisabledMs: number;
  /** The rest of `downMs`: what the service itself is to blame for. */
  readonly ownDownMs: number;
  /**
   * Failures: outages first seen in the window. One that was seen failing in planned time only does not count; one
   * that began before the window counts with its time, not with its number, so that windows add up.
   */
  readonly outages: number;
  /**
   * Mean time to restoration, detection included, of the outages restored in the window: from the failure, also
   * where that lies before the window (cut lengths would make the mean too short), without unobserved and planned
   * time. Null: none was restored.
   */
  readonly mttrMs: number | null;
  /** Mean operating time between failures: up time / failures; null without failures. Operating time is up time here. */
  readonly mtbfMs: number | null;
  /** How far that can be trusted, at 90 %; with no failure a lower bound alone. Null: it was never up. */
  readonly mtbfBounds: MtbfBounds | null;
  /** Mean up time: up time / failures. As operating time is up time, the same as `mtbfMs`. */
  readonly mutMs: number | null;
  /** Mean down time: down time / failures, so that estimate = MUT / (MUT + MDT) always (ITU-T E.800). */
  readonly mdtMs: number | null;
  /** Mean time from the failure to its confirmation (fault detection time); null without failures. */
  readonly detectionDelayMs: number | null;
}

/** Availability and its companions over a window. Pure; total for spans in order. */
export function availabilityOf(history: History): Availability {
  const window = untilNow(history.window, history.now);
  const planned = union(history.planned);
  const stretches = stretchesOf(history);
  const observed = union(stretches.map(estimated));
  const required = subtract(clip(observed, window), planned);
  const down = stretches.filter(({ state }) => state === 'down');
  const behind = down.filter(({ outage }) => outage !== null && outage.causeId !== null);
  const doubtful = history.unconfirmed.flatMap((failure) => doubtOf(failure, observed));

  const requiredMsOf = (intervals: readonly Interval[]) =>
    totalMs(intersect(union(intervals), required));
  const shareWithout = (downIntervals: readonly Interval[]) =>
    ratio(totalMs(required) - requiredMsOf(downIntervals), totalMs(required));
  const stateMs = (wanted: Stretch['state']) =>
    requiredMsOf(stretches.filter(({ state }) => state === wanted).map(estimated));

  const upMs = stateMs('up');
  const degradedMs = stateMs('degraded');
  const downMs = stateMs('down');
  const externallyDisabledMs = requiredMsOf(behind.map(estimated));
  return {
    ...window,
    estimate: shareWithout(down.map(estimated)),
    low: shareWithout([...down.map(longest), ...doubtful]),
    high: shareWithout(down.map(shortest)),
    upMs,
    degradedMs,
    downMs,
    unobservedMs: totalMs(subtract(subtract(union([window]), observed), planned)),
    plannedMs: totalMs(clip(planned, window)),
    externallyDisabledMs,
    ownDownMs: downMs - externallyDisabledMs,
    ...meansOf({ upMs: upMs + degradedMs, downMs }, coursesOf(history, down, planned), window),
  };
}

/** What one outage gives to the means. */
interface OutageCourse {
  readonly firstFailedAt: number;
  readonly restoredAt: number | null;
  /** From the estimated failure to the confirmation. */
  readonly detectionMs: number;
  /** Its down time that was required and watched, inside the window or not. */
  readonly downMs: number;
}

/** The outages that were seen failing at some instant outside planned time. */
function coursesOf(
  { outages }: History,
  down: readonly Stretch[],
  planned: IntervalSet,
): readonly OutageCourse[] {
  return outages.flatMap((outage): OutageCourse[] => {
    const parts = down.filter((stretch) => stretch.outage === outage);
    const first = parts[0];
    if (first === undefined) return [];
    // The first failed answer was seen even where it is the only one.
    const seen = parts.map(shortest).map(({ from, to }) => ({ from, to: Math.max(from + 1, to) }));
    if (subtract(union(seen), planned).length === 0) return [];
    return [
      {
        firstFailedAt: outage.firstFailedAt,
        restoredAt: outage.restoredAt,
        detectionMs: outage.confirmedAt - first.begins.middle,
        downMs: totalMs(subtract(union(parts.map(estimated)), planned)),
      },
    ];
  });
}

function meansOf(
  time: { readonly upMs: number; readonly downMs: number },
  courses: readonly OutageCourse[],
  window: Interval,
) {
  const failed = courses.filter(
    ({ firstFailedAt }) => window.from <= firstFailedAt && firstFailedAt < window.to,
  );
  // An outage that ends at the very end of the window lies in it.
  const restored = courses.filter(
    ({ restoredAt }) => restoredAt !== null && window.from < restoredAt && restoredAt <= window.to,
  );
  const mutMs = mean(time.upMs, failed.length);
  return {
    outages: failed.length,
    mttrMs: mean(sum(restored.map(({ downMs }) => downMs)), restored.length),
    mtbfMs: mutMs,
    mtbfBounds: mtbfBounds(time.upMs, failed.length),
    mutMs,
    mdtMs: mean(time.downMs, failed.length),
    detectionDelayMs: mean(sum(failed.map(({ detectionMs }) => detectionMs)), failed.length),
  };
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

function mean(total: number, count: number): number | null {
  return count === 0 ? null : Math.round(total / count);
}

function ratio(part: number, whole: number): number | null {
  return whole === 0 ? null : part / whole;
}

function sum(values: readonly number[]): number {
  return values.reduce((total, value) => total + value, 0);
}
