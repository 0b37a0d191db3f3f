/**
 * Figures that the pages and the API ask for again and again: availability of thirty days, and the course of a day, a
 * week, a month or a year. Each is kept for a moment, and worked out at once when the service has changed its state.
 */
import type { Clock } from '../base/clock.ts';
import type { Happenings } from '../base/happenings.ts';
import { fractionOf } from '../base/ids.ts';
import { chartsKeptCountMax, dayFreshMs, figuresFreshMs, longFreshMs } from '../base/limits.ts';
import type { Standing } from '../base/standing.ts';
import { readHistory } from '../record/history.ts';
import type { Latencies, Record as Memoir, Range } from '../record/record.ts';
import { type Availability, availabilityOf } from '../uptime/availability.ts';
import type { History } from '../uptime/evidence.ts';
import { type GroupAvailability, groupAvailabilityOf } from '../uptime/groups.ts';
import {
  type Chart,
  type ChartLength,
  chartRange,
  chartsFrom,
  type Past,
  readPast,
} from './charts.ts';
import { dayCourses } from './day-course.ts';
import { keptHistories } from './histories.ts';

const dayMs = 24 * 3_600_000;
/** The window of the figures on the roll: 30 × 24 h. */
export const figuresWindowMs = 30 * dayMs;

export interface Figures {
  // Of what is kept the same promise is given again, so that what is made of it can be kept with it.
  /** Over the last 30 × 24 h. */
  days30(serviceId: string): Promise<Availability>;
  /** Of these services together, over the same time. */
  group30(serviceIds: readonly string[]): Promise<GroupAvailability>;
  chart(serviceId: string, length: ChartLength): Promise<Chart>;
  /** Over the time that the chart of this length shows. */
  latencies(serviceId: string, length: ChartLength): Promise<Latencies>;
  /** What the record has of any window; not kept. */
  history(serviceId: string, window: Range): Promise<History>;
  /** Over any window; not kept. */
  availability(serviceId: string, window: Range): Promise<Availability>;
}

export interface FiguresNeeds {
  readonly record: Memoir;
  readonly clock: Clock;
  readonly standingOf: (serviceId: string) => Standing;
  /** What happens, as it happens; without it days are read again. */
  readonly listen?: Happenings['listen'];
}

export function figuresOf(needs: FiguresNeeds): Figures {
  const { record, clock, standingOf, listen } = needs;
  const history = (serviceId: string, window: Range) => {
    const { outage: open } = standingOf(serviceId);
    return readHistory(record, {
      serviceId,
      window,
      now: clock.wallMs(),
      open,
      watchedUntil: null,
    });
  };
  const availability = async (serviceId: string, window: Range) =>
    availabilityOf(await history(serviceId, window));
  const histories = keptHistories(record);
  const days = kept(
    needs,
    () => figuresFreshMs,
    async (serviceId, _which: 'days30', now) => {
      const window = { from: now - figuresWindowMs, to: now };
      const found = await histories(serviceId, { window, open: standingOf(serviceId).outage });
      return { history: found, availability: availabilityOf(found) };
    },
  );
  const shares = new WeakMap<Promise<Days>, Promise<Availability>>();
  const charts = chartsFrom({
    record,
    dayOf: listen && dayCourses({ record, clock, listen }),
    pastOf: async (serviceId, range) => {
      const { history: known } = await days(serviceId, 'days30');
      return range.from < known.window.from
        ? readPast(record, serviceId, range)
        : pastWithin(known, range);
    },
  });
  return {
    history,
    availability,
    days30: (serviceId) => {
      const found = days(serviceId, 'days30');
      const figures = shares.get(found) ?? found.then((of) => of.availability);
      shares.set(found, figures);
      return figures;
    },
    group30: groupsFrom(needs, (serviceId) => days(serviceId, 'days30')),
    chart: kept(needs, freshMsOf, charts.of),
    latencies: kept(needs, freshMsOf, (serviceId, length: ChartLength, now) =>
      record.latencies(serviceId, chartRange(length, now)),
    ),
  };
}

/** The part of what is kept of thirty days that touches the range. */
function pastWithin(history: History, { from, to }: Range): Past {
  const { spans, outages, unconfirmed, planned } = history;
  return {
    spans: spans.filter((span) => span.from < to && (span.to ?? to) > from),
    outages: outages.filter(
      ({ firstFailedAt, restoredAt }) => firstFailedAt < to && (restoredAt ?? to) > from,
    ),
    unconfirmed: unconfirmed.filter(
      ({ firstFailedAt, nextGoodAt }) => firstFailedAt < to && nextGoodAt > from,
    ),
    planned: planned.filter((window) => window.from < to && window.to > from),
  };
}

interface Days {
  readonly history: History;
  readonly availability: Availability;
}

/** Kept like the figures of one service, for which all of these are asked together. */
function groupsFrom(
  needs: FiguresNeeds,
  daysOf: (serviceId: string) => Promise<Days>,
): Figures['group30'] {
  const answer = keeper<GroupAvailability>(needs.clock);
  return (serviceIds) =>
    answer(
      JSON.stringify(serviceIds),
      { key: serviceIds.map((id) => keyOf(needs.standingOf(id))).join(), freshMs: figuresFreshMs },
      async () => {
        const now = needs.clock.wallMs();
        const days = await Promise.all(serviceIds.map(daysOf));
        const members = days.map(({ history }, index) => ({
          serviceId: serviceIds[index] ?? '',
          history,
        }));
        const window = { from: now - figuresWindowMs, to: now };
        return groupAvailabilityOf(members, { window, now });
      },
    );
}

function freshMsOf(length: ChartLength): number {
  return length === 'day' ? dayFreshMs : longFreshMs;
}

function kept<Value, Which extends string>(
  { clock, standingOf }: FiguresNeeds,
  freshMsOf: (which: Which) => number,
  work: (serviceId: string, which: Which, now: number) => Promise<Value>,
): (serviceId: string, which: Which) => Promise<Value> {
  const answer = keeper<Value>(clock);
  return (serviceId, which) =>
    answer(
      `${which} ${serviceId}`,
      { key: keyOf(standingOf(serviceId)), freshMs: freshMsOf(which) },
      () => work(serviceId, which, clock.wallMs()),
    );
}

/** What a figure depends on beside the time. */
function keyOf(standing: Standing): string {
  const known = keys.get(standing);
  if (known !== undefined) return known;
  const { state, since, outage } = standing;
  const key = `${state} ${since} ${outage?.confirmedAt}`;
  keys.set(standing, key);
  return key;
}

/** Of standings that are still the same thing. */
const keys = new WeakMap<Standing, string>();

interface Answer<Value> {
  readonly key: string;
  readonly turn: number;
  readonly phase: number;
  readonly value: Promise<Value>;
}

type Keeper<Value> = (
  name: string,
  fresh: { readonly key: string; readonly freshMs: number },
  work: () => Promise<Value>,
) => Promise<Value>;

/**
 * Answers from memory while the answer is fresh and its key the same. Names take turns at becoming stale, so that a page
 * with all of them never has to read about all of them.
 */
function keeper<Value>(clock: Clock): Keeper<Value> {
  const answers = new Map<string, Answer<Value>>();
  return (name, { key, freshMs }, work) => {
    const known = answers.get(name);
    const phase = known?.phase ?? fractionOf(name);
    const turn = Math.floor(clock.monotonicMs() / freshMs + phase);
    if (known && known.key === key && known.turn === turn) return known.value;
    const value = work();
    answers.delete(name);
    answers.set(name, { key, turn, phase, value });
    // A reading that failed must not be kept; whoever waits for it hears of the failure.
    value.catch(() => answers.delete(name));
    const [oldest] = answers.keys();
    if (answers.size > chartsKeptCountMax && oldest !== undefined) answers.delete(oldest);
    return value;
  };
}
