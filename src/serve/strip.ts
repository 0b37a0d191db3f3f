/** From the record of a day to the props of its strip chart: line, grounds, marks, scale, and the sentence that says it. */

import type { StripGround, StripPoint, StripProps, TickProps } from '../../web/props.ts';
import { sayDuration } from '../base/durations.ts';
import type { State } from '../base/values.ts';
import type { Step } from '../uptime/quantiles.ts';
import type { Day } from './figures.ts';
import { sayCount, sayTook, type Zone } from './zone.ts';

const quarterMs = 15 * 60_000;

export function stripOf(day: Day, zone: Zone): StripProps {
  const grounds = groundsOf(day);
  const blank = grounds.filter(({ state }) => state === 'unobserved');
  const points = broken(
    day.steps.flatMap((step) => pointOf(step, day, blank)),
    grounds.filter(({ state }) => state === 'down'),
  );
  const tookUs = points.flatMap(({ typicalUs }) => (typicalUs === null ? [] : [typicalUs]));
  return {
    label: labelOf(day, grounds, tookUs),
    from: day.from,
    to: day.to,
    points,
    grounds,
    misses: day.unconfirmed
      .map(({ firstFailedAt }) => firstFailedAt)
      .filter((at) => at >= day.from && at < day.to),
    ticks: ticksOf(day, zone),
    decades: decadesOf(tookUs),
  };
}

/** Every sixth hour on the clock of the zone, whatever its offset; on a day of 23 or 25 hours too. */
export function ticksOf({ from, to }: { from: number; to: number }, zone: Zone): TickProps[] {
  const ticks: TickProps[] = [];
  for (let at = Math.ceil(from / quarterMs) * quarterMs; at < to; at += quarterMs) {
    const label = zone.hour(at);
    if (/^(00|06|12|18):00$/.test(label)) ticks.push({ at, label });
  }
  return ticks;
}

/** The states of the day, clipped to it; before the first span nobody looked. `up` is the paper itself and left out. */
function groundsOf({ from, to, spans }: Day): StripGround[] {
  const first = spans[0]?.from ?? to;
  const before = { state: 'unobserved' as State, from, to: Math.min(first, to) };
  return [before, ...spans.map((span) => ({ ...span, to: span.to ?? to }))]
    .filter(({ state }) => state !== 'up')
    .map(({ state, from: begins, to: ends }) => ({
      state,
      from: Math.max(begins, from),
      to: Math.min(ends, to),
    }))
    .filter((ground) => ground.from < ground.to);
}

/** A step in which nothing was asked breaks the line only where nobody looked: a service asked once an hour has a line too. */
function pointOf(step: Step, day: Day, blank: readonly StripGround[]): StripPoint[] {
  const at = Math.min(
    step.at + (day.steps[1]?.at ?? step.at) / 2 - (day.steps[0]?.at ?? 0) / 2,
    day.to,
  );
  const watched = step.count > 0 || !blank.some(({ from, to }) => from <= at && at < to);
  if (step.count === 0 && watched) return [];
  return [{ at, typicalUs: step.p50Us, slowUs: step.p95Us }];
}

/** The line breaks where the service was down, also when some of a step's answers were good. */
function broken(points: readonly StripPoint[], down: readonly StripGround[]): StripPoint[] {
  const outside = points.filter(({ at }) => !down.some(({ from, to }) => from <= at && at < to));
  const breaks = down.map(({ from }) => ({ at: from, typicalUs: null, slowUs: null }));
  return [...outside, ...breaks].sort((a, b) => a.at - b.at);
}

/** `Last 24 hours: typically 12 ms; 1 outage; down for 28 min; not observed for 3 h.` */
function labelOf(day: Day, grounds: readonly StripGround[], tookUs: readonly number[]): string {
  const parts = [
    tookUs.length === 0 ? 'no answer' : `answers typically in ${sayTook(middle(tookUs))}`,
    sayCount(day.outages.length, 'outage'),
    ...(['down', 'degraded', 'unobserved'] as const).flatMap((state) => {
      const ms = grounds
        .filter((ground) => ground.state === state)
        .reduce((sum, { from, to }) => sum + to - from, 0);
      const word = state === 'unobserved' ? 'not observed' : state;
      return ms === 0 ? [] : [`${word} for ${sayDuration(ms)}`];
    }),
    ...(day.unconfirmed.length === 0
      ? []
      : [
          sayCount(
            day.unconfirmed.length,
            'single failure that was not confirmed',
            'single failures that were not confirmed',
          ),
        ]),
  ];
  return `Last 24 hours: ${parts.join('; ')}.`;
}

function middle(values: readonly number[]): number {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted[Math.floor(sorted.length / 2)] ?? 0;
}

/** The powers of ten around the values, at least one decade, so that the scale is calm from one look to the next. */
function decadesOf(tookUs: readonly number[]): StripProps['decades'] {
  const exponents = tookUs.map((us) => Math.log10(Math.max(us, 1)));
  const least = Math.floor(Math.min(...exponents, 6));
  const most = Math.ceil(Math.max(...exponents, 0));
  const [low, high] = tookUs.length === 0 ? [3, 4] : [least, Math.max(most, least + 1)];
  return Array.from({ length: high - low + 1 }, (_, index) => {
    const us = 10 ** (low + index);
    return { us, label: sayScale(us) };
  });
}

function sayScale(us: number): string {
  if (us < 1_000) return `${us} µs`;
  return us < 1_000_000 ? `${us / 1_000} ms` : `${us / 1_000_000} s`;
}
