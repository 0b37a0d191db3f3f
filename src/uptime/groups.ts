/**
 * Availability of a group: the share of its required time in which all its services were up.
 *
 * A group is taken for one item that performs as required while every part of it does (IEC 60050-192, availability:
 * two states alone, up and down). Its required time is the time in which every member was watched and none was under
 * planned work:
 *
 * - Time in which one member was not watched is left out also where another was down. It is known then that the group
 *   was down; but such time would be counted only when it is bad and never when it is good, and the share would be
 *   too small. Whether an instant counts may not depend on how things stood in it.
 * - Planned work on one member is not asked of the group as a whole either: non-required time.
 * - A service belongs to the group from its first span on. One that was not watched at any time of the window says
 *   nothing of it, takes no part in it, and is named.
 *
 * Down time behind the outage of a needed service counts: the household goes without, whoever is to blame.
 */
import { type Evidence, evidenceOf, type History, sharesOf } from './evidence.ts';
import type { Interval, IntervalSet } from './intervals.ts';
import { clip, intersect, subtract, totalMs, union } from './intervals.ts';

export interface Member {
  readonly serviceId: string;
  readonly history: History;
}

export interface GroupAvailability {
  /** As asked, but not beyond `now`. */
  readonly from: number;
  readonly to: number;
  /** Share of the required time in which all were up or degraded; null where that is empty. */
  readonly estimate: number | null;
  /** If every outage lasted as long, and as short, as the answers allow; `low` takes unconfirmed failures for outages. */
  readonly low: number | null;
  readonly high: number | null;
  /** Mean of the members' own availabilities, each over its own required time; null where none has one. */
  readonly mean: number | null;
  // These four add up to the window.
  /** All were up or degraded. */
  readonly upMs: number;
  /** All were watched, and one at least was down. */
  readonly downMs: number;
  /** One at least was not watched. */
  readonly unobservedMs: number;
  /** One at least was under planned work. */
  readonly plannedMs: number;
  /** Members that were not watched at any time of the window. */
  readonly unseen: readonly string[];
}

/** The histories must hold what touches the window; their own windows do not matter. */
export function groupAvailabilityOf(
  members: readonly Member[],
  { window: asked, now }: { readonly window: Interval; readonly now: number },
): GroupAvailability {
  const parts = members.map(({ serviceId, history }) => ({
    serviceId,
    since: history.spans[0]?.from ?? Number.POSITIVE_INFINITY,
    evidence: evidenceOf({ ...history, window: asked, now }),
  }));
  const to = Math.max(asked.from, Math.min(asked.to, now));
  const window = { from: asked.from, to };
  const seen = parts.filter(({ evidence }) => clip(evidence.observed, window).length > 0);
  const planned = union(seen.flatMap(({ evidence }) => evidence.planned));
  const required = subtract(clip(watchedTogether(seen), window), planned);
  const together = (which: keyof Evidence['down']) =>
    union(seen.flatMap(({ evidence }) => evidence.down[which]));
  const down = {
    least: together('least'),
    estimated: together('estimated'),
    most: together('most'),
  };
  const downThen = intersect(down.estimated, required);
  const plannedMs = totalMs(clip(planned, window));
  const requiredMs = totalMs(required);
  return {
    ...window,
    ...sharesOf({ required, down }),
    mean: meanOf(seen.map(({ evidence }) => sharesOf(evidence).estimate)),
    upMs: requiredMs - totalMs(downThen),
    downMs: totalMs(downThen),
    unobservedMs: window.to - window.from - plannedMs - requiredMs,
    plannedMs,
    unseen: parts.filter((part) => !seen.includes(part)).map(({ serviceId }) => serviceId),
  };
}

/** A part of the group, and when the record first knew of it. */
interface Part {
  readonly since: number;
  readonly evidence: Evidence;
}

/** The time in which every service that belonged to the group was watched, and there was one at least. */
function watchedTogether(parts: readonly Part[]): IntervalSet {
  const begins = Math.min(...parts.map(({ since }) => since));
  const always: IntervalSet = [{ from: begins, to: Number.POSITIVE_INFINITY }];
  return parts.reduce(
    (common, { since, evidence }) =>
      intersect(
        common,
        union([{ from: Number.NEGATIVE_INFINITY, to: since }, ...evidence.observed]),
      ),
    Number.isFinite(begins) ? always : [],
  );
}

function meanOf(shares: readonly (number | null)[]): number | null {
  const known = shares.filter((share) => share !== null);
  return known.length === 0 ? null : known.reduce((sum, share) => sum + share, 0) / known.length;
}
