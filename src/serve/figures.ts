/**
 * Figures that the pages and the API ask for again and again: availability of thirty days, and the course of a day.
 * Each is kept for a moment, and worked out at once when the service has changed its state.
 */
import type { Clock } from '../base/clock.ts';
import { dayFreshMs, figuresFreshMs } from '../base/limits.ts';
import type { Standing } from '../base/standing.ts';
import type { Outage, Span, UnconfirmedFailure } from '../base/values.ts';
import { readHistory } from '../record/history.ts';
import type { Record as Memoir, Range } from '../record/record.ts';
import { type Availability, availabilityOf } from '../uptime/availability.ts';
import type { History } from '../uptime/evidence.ts';
import type { Step } from '../uptime/quantiles.ts';

const dayMs = 24 * 3_600_000;
/** The window of the figures on the roll: 30 × 24 h. */
export const figuresWindowMs = 30 * dayMs;
/** Steps of the day's course. */
const dayStepMs = 10 * 60_000;

/** The last 24 hours of a service. */
export interface Day extends Range {
  readonly steps: readonly Step[];
  readonly spans: readonly Span[];
  readonly unconfirmed: readonly UnconfirmedFailure[];
  readonly outages: readonly Outage[];
}

export interface Figures {
  /** Over the last 30 × 24 h. */
  days30(serviceId: string): Promise<Availability>;
  day(serviceId: string): Promise<Day>;
  /** What the record has of any window; not kept. */
  history(serviceId: string, window: Range): Promise<History>;
  /** Over any window; not kept. */
  availability(serviceId: string, window: Range): Promise<Availability>;
}

export interface FiguresNeeds {
  readonly record: Memoir;
  readonly clock: Clock;
  readonly standingOf: (serviceId: string) => Standing;
}

export function figuresOf(needs: FiguresNeeds): Figures {
  const { record, clock, standingOf } = needs;
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
  return {
    history,
    availability,
    days30: kept(needs, figuresFreshMs, (serviceId, now) =>
      availability(serviceId, { from: now - figuresWindowMs, to: now }),
    ),
    day: kept(needs, dayFreshMs, (serviceId, now) => readDay(needs.record, serviceId, now)),
  };
}

/** Answers from memory while the answer is fresh and the service stands as it stood. */
function kept<Value>(
  { clock, standingOf }: FiguresNeeds,
  freshMs: number,
  work: (serviceId: string, now: number) => Promise<Value>,
): (serviceId: string) => Promise<Value> {
  const answers = new Map<string, { key: string; at: number; value: Promise<Value> }>();
  return (serviceId) => {
    const { state, since, outage } = standingOf(serviceId);
    const key = `${state} ${since} ${outage?.confirmedAt}`;
    const nowMs = clock.monotonicMs();
    const known = answers.get(serviceId);
    if (known && known.key === key && nowMs - known.at < freshMs) return known.value;
    const value = work(serviceId, clock.wallMs());
    answers.set(serviceId, { key, at: nowMs, value });
    // A reading that failed must not be kept; whoever waits for it hears of the failure.
    value.catch(() => answers.delete(serviceId));
    return value;
  };
}

async function readDay(record: Memoir, serviceId: string, now: number): Promise<Day> {
  // Whole steps, so that a point does not wander as the time goes on.
  const to = Math.ceil((now + 1) / dayStepMs) * dayStepMs;
  const range = { from: to - dayMs, to };
  const [steps, spans, outages, unconfirmed] = await Promise.all([
    record.steps(serviceId, range, dayStepMs),
    record.spans(serviceId, range),
    record.outages(serviceId, range),
    record.unconfirmed(serviceId, range),
  ]);
  return {
    from: range.from,
    to: now,
    steps,
    spans,
    unconfirmed,
    outages,
  };
}
