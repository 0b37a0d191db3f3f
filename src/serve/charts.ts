/**
 * What strip charts are drawn from: a day, a week, a month or a year of a service by steps. A step that is over does not
 * change any more: it is read once and kept, and only the last few are read again.
 */
import { chartsKeptCountMax } from '../base/limits.ts';
import { isOf } from '../base/planned-time.ts';
import { othersFirst } from '../base/turns.ts';
import type { Outage, Span, UnconfirmedFailure } from '../base/values.ts';
import type { Record as Memoir, Range } from '../record/record.ts';
import type { Step } from '../uptime/quantiles.ts';

const minuteMs = 60_000;
const hourMs = 60 * minuteMs;
const dayMs = 24 * hourMs;

export const chartLengths = ['day', 'week', 'month', 'year'] as const;
export type ChartLength = (typeof chartLengths)[number];

interface Shape {
  readonly lengthMs: number;
  readonly stepMs: number;
}

/** Some 150 steps each, so that a line is as dense on one as on the other; a year has one a day. */
const chartShapes: Readonly<Record<ChartLength, Shape>> = {
  day: { lengthMs: dayMs, stepMs: 10 * minuteMs },
  week: { lengthMs: 7 * dayMs, stepMs: hourMs },
  month: { lengthMs: 30 * dayMs, stepMs: 4 * hourMs },
  year: { lengthMs: 365 * dayMs, stepMs: dayMs },
};

/** A stretch of a service's past. `from` and `to` are multiples of `stepMs`; what is known ends at `now`. */
export interface Chart extends Range {
  readonly stepMs: number;
  readonly now: number;
  readonly steps: readonly Step[];
  readonly spans: readonly Span[];
  readonly unconfirmed: readonly UnconfirmedFailure[];
  readonly outages: readonly Outage[];
  /** Time under planned work; windows may overlap. */
  readonly planned: readonly Range[];
}

/** The whole steps that end with the one in which `now` lies, so that a point does not wander as the time goes on. */
export function chartRange(length: ChartLength, now: number): Range & { readonly stepMs: number } {
  const { lengthMs, stepMs } = chartShapes[length];
  const to = Math.ceil((now + 1) / stepMs) * stepMs;
  return { from: to - lengthMs, to, stepMs };
}

/** An exchange is recorded when it has ended, under the instant at which it began: at most this much later. */
export const lateMsMax = 2 * minuteMs;
/** Read at one time; between two such pieces others have their turn. */
const pieceMs = 31 * dayMs;

interface Finished {
  readonly steps: readonly Step[];
  /** Where the first unfinished step begins. */
  readonly until: number;
}

export interface Charts {
  of(serviceId: string, length: ChartLength, now: number): Promise<Chart>;
}

/** Lengths of a step for a stretch of any length. */
const anySteps = [
  10_000,
  30_000,
  minuteMs,
  2 * minuteMs,
  5 * minuteMs,
  10 * minuteMs,
  hourMs,
  4 * hourMs,
  dayMs,
  7 * dayMs,
];

/** Any stretch of time, by steps of at least `stepMsMin`; not kept. */
export async function chartOf(
  record: Memoir,
  serviceId: string,
  { from, to, stepMsMin, now }: Range & { readonly stepMsMin: number; readonly now: number },
): Promise<Chart> {
  const least = Math.max(stepMsMin, (to - from) / 150);
  const stepMs = anySteps.find((step) => step >= least) ?? 30 * dayMs;
  const range = {
    from: Math.floor(from / stepMs) * stepMs,
    to: Math.ceil(to / stepMs) * stepMs,
    stepMs,
  };
  return {
    ...range,
    now,
    steps: await piecewise(record, serviceId, range),
    ...(await readPast(record, serviceId, range)),
  };
}

/** What the record says of a stretch of time beside its steps. */
export type Past = Pick<Chart, 'spans' | 'outages' | 'unconfirmed' | 'planned'>;

export interface ChartsGiven {
  readonly record: Memoir;
  /** Where it is kept already, it need not be read again. */
  readonly pastOf?: (serviceId: string, range: Range) => Promise<Past>;
  /** The steps of a day, where they are kept up. */
  readonly dayOf?: ((serviceId: string, now: number) => Promise<readonly Step[]>) | undefined;
}

export function chartsFrom({ record, dayOf, pastOf }: ChartsGiven): Charts {
  const kept = new Map<string, Finished>();

  const stepsOf = async (serviceId: string, length: ChartLength, now: number) => {
    const { from, to, stepMs } = chartRange(length, now);
    const until = Math.max(from, Math.floor((now - lateMsMax) / stepMs) * stepMs);
    const key = `${length} ${serviceId}`;
    const known = kept.get(key);
    // After a clock was set back the steps that are over begin anew.
    const isUsable = known !== undefined && known.until > from && known.until <= until;
    const before = isUsable ? known.steps.filter(({ at }) => at >= from) : [];
    const read = await piecewise(record, serviceId, {
      from: isUsable ? known.until : from,
      to,
      stepMs,
    });
    const steps = [...before, ...read];
    kept.delete(key);
    kept.set(key, { steps: steps.filter(({ at }) => at < until), until });
    const [oldest] = kept.keys();
    if (kept.size > chartsKeptCountMax && oldest !== undefined) kept.delete(oldest);
    return steps;
  };

  return {
    of: async (serviceId, length, now) => {
      const range = chartRange(length, now);
      const [steps, past] = await Promise.all([
        length === 'day' && dayOf ? dayOf(serviceId, now) : stepsOf(serviceId, length, now),
        pastOf ? pastOf(serviceId, range) : readPast(record, serviceId, range),
      ]);
      return { ...range, now, steps, ...past };
    },
  };
}

export async function readPast(
  record: Memoir,
  serviceId: string,
  { from, to }: Range,
): Promise<Past> {
  const [spans, outages, unconfirmed, planned] = await Promise.all([
    record.spans(serviceId, { from, to }),
    record.outages(serviceId, { from, to }),
    record.unconfirmed(serviceId, { from, to }),
    record.planned({ from, to }),
  ]);
  return { spans, outages, unconfirmed, planned: planned.filter((one) => isOf(one, serviceId)) };
}

async function piecewise(
  record: Memoir,
  serviceId: string,
  { from, to, stepMs }: Range & { readonly stepMs: number },
): Promise<readonly Step[]> {
  const steps: Step[] = [];
  for (let begins = from; begins < to; begins += pieceMs) {
    if (begins > from) await othersFirst();
    const piece = { from: begins, to: Math.min(begins + pieceMs, to) };
    steps.push(...(await record.steps(serviceId, piece, stepMs)));
  }
  return steps;
}
