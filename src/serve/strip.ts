/** From the record of a stretch of time to the props of its strip: line, grounds, marks, and the sentence that says it. */

import type { SheetProps, StripGround, StripPoint, StripProps } from '../../web/props.ts';
import { sayDuration } from '../base/durations.ts';
import { union } from '../uptime/intervals.ts';
import type { Step } from '../uptime/quantiles.ts';
import { decadesOf, ticksOf } from './axis.ts';
import type { Chart } from './charts.ts';
import { sayCount, sayTook, type Zone } from './zone.ts';

/** A chart is kept for as long as it is true (figures.ts), and drawn once in that time. */
const drawn = new WeakMap<Chart, StripProps>();

/** `title`: what it shows, as `Last 24 hours`; always the same for the same chart. */
export function stripOf(chart: Chart, title: string): StripProps {
  const known = drawn.get(chart);
  if (known) return known;
  const strip = stripFrom(chart, title);
  drawn.set(chart, strip);
  return strip;
}

function stripFrom(chart: Chart, title: string): StripProps {
  const grounds = groundsOf(chart);
  const blank = grounds.filter(({ state }) => state === 'unobserved');
  const points = broken(
    chart.steps.flatMap((step) => pointOf(step, chart, blank)),
    grounds.filter(({ state }) => state === 'down'),
  );
  const drawnMs = (chart.to - chart.from) * finestShare;
  return {
    label: labelOf(chart, title, grounds, points),
    points,
    grounds: joined(grounds, drawnMs),
    misses: apart(
      chart.unconfirmed
        .map(({ firstFailedAt }) => firstFailedAt)
        .filter((at) => at >= chart.from && at < chart.to),
      drawnMs,
    ),
  };
}

/** The paper under strips; all these latencies find room on it. */
export function sheetOf(
  { from, to, stepMs }: Pick<Chart, 'from' | 'to' | 'stepMs'>,
  zone: Zone,
  tookUs: Iterable<number>,
): SheetProps {
  return { from, to, stepMs, ticks: ticksOf({ from, to }, zone.name), decades: decadesOf(tookUs) };
}

/** What the paper must have room for: the shortest and the longest of each strip; of large ones the slowest answers too. */
export function latenciesOf(strips: readonly StripProps[], large: boolean): readonly number[] {
  return strips.flatMap((strip) => {
    const known = large ? undefined : extremes.get(strip);
    if (known) return known;
    const found = extremesOf(strip, large);
    if (!large) extremes.set(strip, found);
    return found;
  });
}

const extremes = new WeakMap<StripProps, readonly number[]>();

/** Two, or none. */
function extremesOf({ points }: StripProps, large: boolean): readonly number[] {
  const tookUs = points.flatMap(({ typicalUs, slowestUs }) => [
    ...(typicalUs === null ? [] : [typicalUs]),
    ...(large && slowestUs !== null ? [slowestUs] : []),
  ]);
  return tookUs.length === 0 ? [] : [Math.min(...tookUs), Math.max(...tookUs)];
}

/** Less than this share of the whole is not told apart on any paper. */
const finestShare = 1 / 2_000;

/** The states of the time, clipped to it; before the first span nobody looked. `up` is the paper itself and left out. */
function groundsOf({ from, now, spans, planned }: Chart): StripGround[] {
  const first = spans[0]?.from ?? now;
  const before: StripGround = { state: 'unobserved', from, to: Math.min(first, now) };
  const grounds = spans.flatMap(({ state, from: begins, to }): StripGround[] =>
    state === 'up' ? [] : [{ state, from: begins, to: to ?? now }],
  );
  // The shade lies under the signs of the states.
  const shades = union(planned).map((time): StripGround => ({ state: 'planned', ...time }));
  return [...shades, before, ...grounds]
    .map((ground) => ({
      ...ground,
      from: Math.max(ground.from, from),
      to: Math.min(ground.to, now),
    }))
    .filter((ground) => ground.from < ground.to);
}

/** Grounds of one state that lie so close that nobody sees what parts them. */
function joined(grounds: readonly StripGround[], drawnMs: number): StripGround[] {
  const all: StripGround[] = [];
  for (const ground of grounds) {
    const last = all.at(-1);
    if (last?.state === ground.state && ground.from - last.to < drawnMs) {
      all[all.length - 1] = { ...last, to: ground.to };
    } else all.push(ground);
  }
  return all;
}

function apart(instants: readonly number[], drawnMs: number): number[] {
  return instants.filter(
    (at, index) => at - (instants[index - 1] ?? Number.NEGATIVE_INFINITY) >= drawnMs,
  );
}

/** A step in which nothing was asked breaks the line only where nobody looked: a service asked once an hour has a line too. */
function pointOf(step: Step, { stepMs }: Chart, blank: readonly StripGround[]): StripPoint[] {
  const at = step.at + stepMs / 2;
  const isBlank = blank.some(({ from, to }) => from <= at && at < to);
  if (step.count === 0 && !isBlank) return [];
  // A job is looked at: that takes no time, and draws no line.
  if (step.p50Us === 0) return [];
  return [{ at, typicalUs: step.p50Us, slowUs: step.p95Us, slowestUs: step.p99Us }];
}

/** The line breaks where the service was down, also when some of a step's answers were good. */
function broken(points: readonly StripPoint[], down: readonly StripGround[]): StripPoint[] {
  if (down.length === 0) return [...points];
  const outside = points.filter(({ at }) => !down.some(({ from, to }) => from <= at && at < to));
  const breaks = down.map(({ from }) => ({
    at: from,
    typicalUs: null,
    slowUs: null,
    slowestUs: null,
  }));
  return [...outside, ...breaks].sort((a, b) => a.at - b.at);
}

/** `Last 24 hours: answers typically in 12 ms; 1 outage; down for 28 min; not observed for 3 h.` */
function labelOf(
  chart: Chart,
  title: string,
  grounds: readonly StripGround[],
  points: readonly StripPoint[],
): string {
  const tookUs = points.flatMap(({ typicalUs }) => (typicalUs === null ? [] : [typicalUs]));
  const misses = chart.unconfirmed.length;
  const isTimeless = chart.steps.some(({ p50Us }) => p50Us === 0);
  const parts = [
    ...(isTimeless ? [] : [typicalText(tookUs)]),
    sayCount(chart.outages.length, 'outage'),
    ...(['down', 'degraded', 'unobserved', 'planned'] as const).flatMap((state) => {
      const ms = grounds
        .filter((ground) => ground.state === state)
        .reduce((sum, { from, to }) => sum + to - from, 0);
      const word = state === 'unobserved' ? 'not observed' : state;
      return ms === 0 ? [] : [`${word} for ${sayDuration(ms)}`];
    }),
    ...(misses === 0
      ? []
      : [
          sayCount(
            misses,
            'single failure that was not confirmed',
            'single failures that were not confirmed',
          ),
        ]),
  ];
  return `${title}: ${parts.join('; ')}.`;
}

function typicalText(tookUs: readonly number[]): string {
  return tookUs.length === 0 ? 'no answer' : `answers typically in ${sayTook(middle(tookUs))}`;
}

function middle(values: readonly number[]): number {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted[Math.floor(sorted.length / 2)] ?? 0;
}
