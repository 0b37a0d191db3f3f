/** The day as a strip: what is drawn, and the sentence that says it. */
import { expect, test } from 'vitest';
import type { Span, UnconfirmedFailure } from '../../src/base/values.ts';
import type { Day } from '../../src/serve/figures.ts';
import { stripOf, ticksOf } from '../../src/serve/strip.ts';
import { zoneOf } from '../../src/serve/zone.ts';
import type { Step } from '../../src/uptime/quantiles.ts';

const stepMs = 600_000;
const zone = zoneOf('Europe/Dublin');

/** One letter a step of ten minutes: a answered, f failed, . nothing asked. */
function dayOf(steps: string, more: Partial<Day> = {}): Day {
  const to = steps.length * stepMs;
  return {
    from: 0,
    to,
    steps: [...steps].map((letter, index): Step => {
      const us = letter === 'a' ? 5_000 : null;
      const count = letter === '.' ? 0 : 10;
      const failed = letter === 'f' ? 10 : 0;
      return { at: index * stepMs, count, failed, p50Us: us, p95Us: us && us * 2, p99Us: us };
    }),
    spans: [span('up', 0, null)],
    unconfirmed: [],
    outages: [],
    ...more,
  };
}

function span(state: Span['state'], from: number, to: number | null): Span {
  return { state, from, earliestFrom: from, to };
}

const drawn = (day: Day) =>
  stripOf(day, zone)
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
  const strip = stripOf(dayOf('aa..aa', { spans }), zone);
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
  expect(stripOf(dayOf('.aa', { spans }), zone).grounds).toEqual([
    { state: 'unobserved', from: 0, to: stepMs },
    { state: 'degraded', from: stepMs, to: 3 * stepMs },
  ]);
  expect(stripOf(dayOf('...', { spans: [] }), zone).grounds).toEqual([
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
  expect(stripOf(dayOf('aaaf..', { spans, unconfirmed: [miss] }), zone)).toMatchObject({
    label:
      'Last 24 hours: answers typically in 5.0\u00a0ms; no outage; down for 10 min; not observed for 20 min; 1 single failure that was not confirmed.',
    misses: [stepMs],
  });
  expect(stripOf(dayOf('...', { spans: [] }), zone).label).toBe(
    'Last 24 hours: no answer; no outage; not observed for 30 min.',
  );
});

test.each([
  [[5_000], ['1 ms', '10 ms']],
  [[10_000], ['10 ms', '100 ms']],
  [[412], ['100 µs', '1 ms']],
  [
    [40_000, 2_500_000],
    ['10 ms', '100 ms', '1 s', '10 s'],
  ],
  [[], ['1 ms', '10 ms']],
])('latencies of %j µs stand between whole decades: %j', (us, labels) => {
  const day = dayOf('a'.repeat(us.length));
  const steps = day.steps.map((step, index) => ({ ...step, p50Us: us[index] ?? null }));
  expect(stripOf({ ...day, steps }, zone).decades.map(({ label }) => label)).toEqual(labels);
});

test('hours are those of the zone, also where its offset is no whole hour and where a day has 25', () => {
  const from = Date.parse('2026-11-24T09:42:10Z');
  const labels = (name: string) =>
    ticksOf({ from, to: from + 86_400_000 }, zoneOf(name)).map(({ label }) => label);
  expect(labels('Europe/Dublin')).toEqual(['12:00', '18:00', '00:00', '06:00']);
  expect(labels('Asia/Kathmandu')).toEqual(['18:00', '00:00', '06:00', '12:00']);
  // Clocks go back in Dublin on 25 October 2026 at 02:00 summer time.
  const night = Date.parse('2026-10-24T23:00:00Z');
  const ticks = ticksOf({ from: night, to: night + 86_400_000 }, zone);
  expect(ticks.map(({ label, at }) => `${label} ${(at - night) / 3_600_000}`)).toEqual([
    '00:00 0',
    '06:00 7',
    '12:00 13',
    '18:00 19',
  ]);
});
