/**
 * What the record means: availability of one service over a window with its bounds, and the mean times of dependability.
 *
 * Words and definitions: IEC 60050-192:2015. Times are integer milliseconds; means are rounded to whole ones.
 */
import type { UnconfirmedFailure } from '../base/values.ts';
import { type Evidence, evidenceOf, type History, sharesOf, unobservedMsOf } from './evidence.ts';
import type { Interval } from './intervals.ts';
import { clip, intersect, subtract, totalMs, union } from './intervals.ts';
import { type MtbfBounds, mtbfBounds } from './mtbf-bounds.ts';
import {
  coursesOf,
  longestOf,
  type OutageCourse,
  type OutageLength,
  shortestOf,
} from './outages.ts';
import { estimated, type Stretch } from './timeline.ts';

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
  /** Of the outages that touch the window, whole; null without one. */
  readonly longest: OutageLength | null;
  /** Of those among them that are over. */
  readonly shortest: OutageLength | null;
  /** Failures in the window that nobody confirmed: outages that were too short, or none. */
  readonly unconfirmed: number;
}

/** Availability and its companions over a window. Pure; total for spans in order. */
export function availabilityOf(history: History): Availability {
  const evidence = evidenceOf(history);
  const { window, stretches, planned } = evidence;
  const states = timesOf(evidence);
  const behind = stretches.filter(({ outage }) => outage !== null && outage.causeId !== null);
  const externallyDisabledMs = requiredMsOf(evidence, behind);
  const courses = coursesOf(evidence);
  const upMs = states.upMs + states.degradedMs;
  return {
    ...window,
    ...sharesOf(evidence),
    ...states,
    unobservedMs: unobservedMsOf(evidence),
    plannedMs: totalMs(clip(planned, window)),
    externallyDisabledMs,
    ownDownMs: states.downMs - externallyDisabledMs,
    ...meansOf({ upMs, downMs: states.downMs }, courses, window),
    longest: longestOf(courses),
    shortest: shortestOf(courses),
    unconfirmed: history.unconfirmed.filter((failure) => isCounted(failure, evidence)).length,
  };
}

function timesOf(evidence: Evidence) {
  const stateMs = (wanted: Stretch['state']) =>
    requiredMsOf(
      evidence,
      evidence.stretches.filter(({ state }) => state === wanted),
    );
  return { upMs: stateMs('up'), degradedMs: stateMs('degraded'), downMs: stateMs('down') };
}

function requiredMsOf({ required }: Evidence, stretches: readonly Stretch[]): number {
  return totalMs(intersect(union(stretches.map(estimated)), required));
}

/** As outages are: where it was first seen, and not for what was seen in planned time only. */
function isCounted({ firstFailedAt, lastFailedAt }: UnconfirmedFailure, evidence: Evidence) {
  const { window, planned } = evidence;
  if (firstFailedAt < window.from || firstFailedAt >= window.to) return false;
  return subtract([{ from: firstFailedAt, to: lastFailedAt + 1 }], planned).length > 0;
}

function meansOf(
  time: { readonly upMs: number; readonly downMs: number },
  courses: readonly OutageCourse[],
  window: Interval,
) {
  const failed = courses.filter(
    ({ outage }) => window.from <= outage.firstFailedAt && outage.firstFailedAt < window.to,
  );
  // An outage that ends at the very end of the window lies in it.
  const restored = courses.filter(
    ({ outage: { restoredAt } }) =>
      restoredAt !== null && window.from < restoredAt && restoredAt <= window.to,
  );
  const mutMs = mean(time.upMs, failed.length);
  return {
    outages: failed.length,
    mttrMs: mean(sum(restored.map(({ lengthMs }) => lengthMs)), restored.length),
    mtbfMs: mutMs,
    mtbfBounds: mtbfBounds(time.upMs, failed.length),
    mutMs,
    mdtMs: mean(time.downMs, failed.length),
    detectionDelayMs: mean(sum(failed.map(({ detectionMs }) => detectionMs)), failed.length),
  };
}

function mean(total: number, count: number): number | null {
  return count === 0 ? null : Math.round(total / count);
}

function sum(values: readonly number[]): number {
  return values.reduce((total, value) => total + value, 0);
}
