/** The day as a strip: what is drawn, and the sentence that says it. */
import { expect, test } from 'vitest';
import type { Span, UnconfirmedFailure } from '../../src/base/values.ts';
import type { Chart } from '../../src/serve/charts.ts';
import { latenciesOf, stripOf } from '../../src/serve/strip.ts';
import type { Step } from '../../src/uptime/quantiles.ts';

const stepMs = 600_000;
const title = 'Last 24 hours';

/** One letter a step of ten minutes: a answered, f failed, . nothing asked. */
function dayOf(steps: string, more: Partial<Chart> = {}): Chart {
  const to = steps.length * stepMs;
  return {
    from: 0,
    to,
    stepMs,
    now: to,
    steps: [...steps].map((letter, index): Step => {
      const us = letter === 'a' ? 5_000 : null;
      const count = letter === '.' ? 0 : 10;
      const failed = letter === 'f' ? 10 : 0;
      return {
        at: index * stepMs,
        count,
        failed,
        p50Us: us,
        p95Us: us && us * 2,
        p99Us: us && us * 3,
      };
    }),
    spans: [span('up', 0, null)],
    unconfirmed: [],
    planned: [],
    outages: [],
    ...more,
  };
}

function span(state: Span['state'], from: number, to: number | null): Span {
  return { state, from, earliestFrom: from, to };
}

const drawn = (day: Chart) =>
  stripOf(day, title)
    .points.map(({ typicalUs }) => (typicalUs === null ? '|' : 'a'))
    .join('');

test('the line breaks where nothing was answered', () => {
  expect(drawn(dayOf('aafaa'))).toBe('aa|aa');
});

test('a service that is asked seldom has a line all the same', () => {
  expect(drawn(dayOf('a..a..a'))).toBe('aaa');
});

test('where nobody looked the line breaks, and nothing is drawn', () => {
  const spans = [
    span('up', 0, 2 * stepMs),
    span('unobserved', 2 * stepMs, 4 * stepMs),
    span('up', 4 * stepMs, null),
  ];
  const strip = stripOf(dayOf('aa..aa', { spans }), title);
  expect(strip.points.map(({ typicalUs }) => typicalUs)).toEqual([
    5_000,
    5_000,
    null,
    null,
    5_000,
    5_000,
  ]);
  expect(strip.grounds).toEqual([{ state: 'unobserved', from: 2 * stepMs, to: 4 * stepMs }]);
});

test('an outage shorter than a step breaks the line too, on its own ground', () => {
  const from = 2 * stepMs + 60_000;
  const spans = [
    span('up', 0, from),
    span('down', from, from + 60_000),
    span('up', from + 60_000, null),
  ];
  expect(drawn(dayOf('aaaaa', { spans }))).toBe('aa|aaa');
});

test('time before the first span is unobserved, and grounds end with the day', () => {
  const spans = [span('degraded', stepMs, null)];
  expect(stripOf(dayOf('.aa', { spans }), title).grounds).toEqual([
    { state: 'unobserved', from: 0, to: stepMs },
    { state: 'degraded', from: stepMs, to: 3 * stepMs },
  ]);
  expect(stripOf(dayOf('...', { spans: [] }), title).grounds).toEqual([
    { state: 'unobserved', from: 0, to: 3 * stepMs },
  ]);
});

test('the sentence says what the strip shows', () => {
  const miss: UnconfirmedFailure = {
    serviceId: 'a',
    lastGoodAt: 0,
    firstFailedAt: stepMs,
    lastFailedAt: stepMs,
    nextGoodAt: stepMs + 5_000,
  };
  const spans = [
    span('up', 0, 3 * stepMs),
    span('down', 3 * stepMs, 4 * stepMs),
    span('unobserved', 4 * stepMs, null),
  ];
  expect(stripOf(dayOf('aaaf..', { spans, unconfirmed: [miss] }), title)).toMatchObject({
    label:
      'Last 24 hours: answers typically in 5.0\u00a0ms; no outage; down for 10 min; not observed for 20 min; 1 single failure that was not confirmed.',
    misses: [stepMs],
  });
  expect(stripOf(dayOf('...', { spans: [] }), title).label).toBe(
    'Last 24 hours: no answer; no outage; not observed for 30 min.',
  );
});

test('what is known ends with now, the paper with the step', () => {
  const day = dayOf('aaa', {
    now: 2.5 * stepMs,
    spans: [span('up', 0, stepMs), span('down', stepMs, null)],
  });
  expect(stripOf(day, title).grounds).toEqual([{ state: 'down', from: stepMs, to: 2.5 * stepMs }]);
});

test('what nobody can tell apart is drawn as one', () => {
  const year = 365 * 86_400_000;
  const minute = 60_000;
  const spans = Array.from({ length: 500 }, (_, index) => [
    span('down', year / 2 + index * 2 * minute, year / 2 + (index * 2 + 1) * minute),
    span('up', year / 2 + (index * 2 + 1) * minute, year / 2 + (index * 2 + 2) * minute),
  ]).flat();
  const unconfirmed = spans.map(({ from: at }): UnconfirmedFailure => {
    return { serviceId: 'a', lastGoodAt: at, firstFailedAt: at, lastFailedAt: at, nextGoodAt: at };
  });
  const chart = {
    ...dayOf(''),
    to: year,
    now: year,
    stepMs: 86_400_000,
    spans: [span('up', 0, year / 2), ...spans],
    unconfirmed,
  };
  const strip = stripOf(chart, 'Last 365 days');
  expect(strip.grounds).toEqual([{ state: 'down', from: year / 2, to: year / 2 + 999 * minute }]);
  expect(strip.misses.length).toBeLessThan(5);
  expect(strip.label).toContain('down for 8 h 20 min; 1000 single failures');
});

test('the paper must have room for the typical answers, and where the strip is large for the slowest', () => {
  const strips = [stripOf(dayOf('af'), title)];
  expect(latenciesOf(strips, false)).toEqual([5_000, 5_000]);
  expect(latenciesOf(strips, true)).toEqual([5_000, 15_000]);
  expect(latenciesOf([stripOf(dayOf('..'), title)], true)).toEqual([]);
});
