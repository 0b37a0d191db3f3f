/** Outages as the record proves them: when each began and ended, how long it lasted, within which bounds. */
import type { Outage } from '../base/values.ts';
import type { Evidence } from './evidence.ts';
import type { Interval } from './intervals.ts';
import { subtract, totalMs, union } from './intervals.ts';
import type { Edge, Stretch } from './timeline.ts';
import { estimated, longest, shortest } from './timeline.ts';

/**
 * How long an outage lasted. Time that was unobserved or planned is no part of it; a window cuts nothing off, since a
 * length that was cut tells nothing of the time to restoration.
 */
export interface OutageLength {
  readonly outageId: string;
  readonly lengthMs: number;
  /** From the first to the last failed answer. */
  readonly lowMs: number;
  /** From the last good answer before to the first one after; up to now while it lasts. */
  readonly highMs: number;
  /** Nobody has seen the service answer again: it may have grown longer. */
  readonly open: boolean;
}

export interface OutageCourse extends OutageLength {
  readonly outage: Outage;
  readonly begins: Edge;
  /** Where it lasts: up to now, or where the watch ended. */
  readonly ends: Edge;
  /** From the estimated failure to the confirmation. */
  readonly detectionMs: number;
}

/**
 * The outages that touch the window, in order of time. One that was seen failing in planned time only is no failure
 * and left out.
 */
export function coursesOf({ stretches, planned, window }: Evidence): readonly OutageCourse[] {
  const parts = new Map<Outage, Stretch[]>();
  for (const stretch of stretches) {
    if (stretch.outage === null) continue;
    const known = parts.get(stretch.outage);
    if (known) known.push(stretch);
    else parts.set(stretch.outage, [stretch]);
  }
  return [...parts]
    .filter(([outage]) => touches(outage, window))
    .flatMap(([outage, down]): OutageCourse[] => {
      const [first, last] = [down[0], down.at(-1)];
      if (first === undefined || last === undefined) return [];
      const unplanned = (intervals: readonly Interval[]) => subtract(union(intervals), planned);
      if (unplanned(seenFailing(down)).length === 0) return [];
      return [
        {
          outageId: outage.id,
          outage,
          begins: first.begins,
          ends: last.ends,
          open: outage.restoredAt === null,
          detectionMs: outage.confirmedAt - first.begins.middle,
          lengthMs: totalMs(unplanned(down.map(estimated))),
          lowMs: totalMs(unplanned(down.map(shortest))),
          highMs: totalMs(unplanned(down.map(longest))),
        },
      ];
    });
}

/** The longest, an open one with what it has reached; null without outages. */
export function longestOf(courses: readonly OutageCourse[]): OutageLength | null {
  return extreme(courses, (one, best) => one.lengthMs > best.lengthMs);
}

/** The shortest of those that are over: how short an open one will be is not known. */
export function shortestOf(courses: readonly OutageCourse[]): OutageLength | null {
  const over = courses.filter(({ open }) => !open);
  return extreme(over, (one, best) => one.lengthMs < best.lengthMs);
}

function extreme(
  courses: readonly OutageCourse[],
  isBetter: (one: OutageCourse, best: OutageCourse) => boolean,
): OutageLength | null {
  const [first, ...others] = courses;
  if (first === undefined) return null;
  const { outageId, lengthMs, lowMs, highMs, open } = others.reduce(
    (best, one) => (isBetter(one, best) ? one : best),
    first,
  );
  return { outageId, lengthMs, lowMs, highMs, open };
}

/** The first failed answer was seen even where it is the only one. */
function seenFailing(down: readonly Stretch[]): readonly Interval[] {
  return down.map(shortest).map(({ from, to }) => ({ from, to: Math.max(from + 1, to) }));
}

/** An outage that ends at the very end of the window lies in it, and in no later one. */
function touches({ firstFailedAt, restoredAt }: Outage, { from, to }: Interval): boolean {
  return firstFailedAt < to && (restoredAt === null || restoredAt > from);
}
