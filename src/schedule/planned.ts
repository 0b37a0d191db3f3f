/**
 * Planned windows as their rules make them. Pure. Each due time of a schedule makes a window of its own, also where it lasts
 * longer than until the next: what overlaps is joined where it is asked what is planned (`base/planned-time.ts`), never here,
 * so that a window on record is always one due time.
 *
 * A window lasts for the time that it was given, not until a time of day: over a change of the clock it ends an hour
 * earlier or later on the wall than in other weeks.
 */
import { slug } from '../base/ids.ts';
import { instantText } from '../base/instants.ts';
import { inOrderOfTime } from '../base/planned-time.ts';
import type { PlannedRule, PlannedWindow } from '../base/values.ts';
import { type Occurrences, occurrencesOf } from './occurrences.ts';

export interface PlannedCourse {
  /** That touch [from, to), in order; of each rule at most `countMax`. */
  touching(from: number, to: number, countMax: number): readonly PlannedWindow[];
  /** When the next one begins after this instant; null: none does. */
  nextAfter(at: number): number | null;
}

export function plannedCourse(rules: readonly PlannedRule[]): PlannedCourse {
  const sources = rules.map(sourceOf);
  return {
    touching: (from, to, countMax) =>
      inOrderOfTime(sources.flatMap((source) => source.touching(from, to, countMax))),
    nextAfter: (at) => {
      const begins = sources.flatMap((source) => source.nextAfter(at) ?? []);
      return begins.length === 0 ? null : Math.min(...begins);
    },
  };
}

function sourceOf(rule: PlannedRule): PlannedCourse {
  return rule.kind === 'once' ? onceOf(rule) : scheduledOf(rule);
}

function onceOf(rule: PlannedRule & { readonly kind: 'once' }): PlannedCourse {
  const window = windowOf(rule, rule.from, rule.to);
  return {
    touching: (from, to) => (window.from < to && window.to > from ? [window] : []),
    nextAfter: (at) => (window.from > at ? window.from : null),
  };
}

function scheduledOf(rule: PlannedRule & { readonly kind: 'schedule' }): PlannedCourse {
  const { schedule, timezone, lastsMs } = rule;
  const due: Occurrences = occurrencesOf(schedule, timezone);
  return {
    touching: (from, to, countMax) =>
      due.within(from - lastsMs + 1, to, countMax).map((at) => windowOf(rule, at, at + lastsMs)),
    nextAfter: (at) => due.next(at),
  };
}

/** The id is the same whenever it is worked out, also after a restart. */
function windowOf(rule: PlannedRule, from: number, to: number): PlannedWindow {
  const { name, why, serviceIds, kind } = rule;
  return {
    id: `${slug(name)}.${instantText(from)}`,
    name,
    why,
    from,
    to,
    serviceIds,
    origin: kind,
  };
}
