/** The ruling of chart paper: on the clock of the zone across, by powers of ten upwards. */
import { expect, test } from 'vitest';
import { decadesOf, ticksOf } from '../../src/serve/axis.ts';

const minuteMs = 60_000;
const hourMs = 60 * minuteMs;
const dayMs = 24 * hourMs;
const at = (text: string) => Date.parse(text);
const labels = (from: number, lengthMs: number, zone: string) =>
  ticksOf({ from, to: from + lengthMs }, zone).flatMap(({ label }) => label ?? []);

test.each([
  [[5_000], ['1 ms', '10 ms']],
  [[10_000], ['10 ms', '100 ms']],
  [[412], ['100 µs', '1 ms']],
  [[0], ['1 µs', '10 µs']],
  [
    [40_000, 2_500_000],
    ['10 ms', '100 ms', '1 s', '10 s'],
  ],
  [[], ['1 ms', '10 ms']],
])('latencies of %j µs stand between whole decades: %j', (us, words) => {
  expect(decadesOf(us).map(({ label }) => label.replace('\u00a0', ' '))).toEqual(words);
});

test('a day is ruled every third hour of the zone, also where its offset is no whole hour', () => {
  const from = at('2026-11-24T09:42:10Z');
  expect(labels(from, dayMs, 'Europe/Dublin')).toEqual(['12:00', '18:00', '25 Nov', '06:00']);
  expect(labels(from, dayMs, 'Asia/Kathmandu')).toEqual(['18:00', '25 Nov', '06:00', '12:00']);
  const ticks = ticksOf({ from, to: from + dayMs }, 'Europe/Dublin');
  expect(ticks).toHaveLength(8);
  expect(ticks.filter(({ begins }) => begins)).toEqual([
    { at: at('2026-11-25T00:00:00Z'), label: '25 Nov', begins: true },
  ]);
});

test('a line stands where the clock shows its hour, also on the day when clocks go back', () => {
  // In Dublin on 25 October 2026 at 02:00 summer time (tz database).
  const night = at('2026-10-24T23:00:00Z');
  const ticks = ticksOf({ from: night, to: night + dayMs }, 'Europe/Dublin');
  const said = ticks.flatMap(({ label, at: line }) =>
    label ? `${label} ${(line - night) / hourMs}` : [],
  );
  expect(said).toEqual(['25 Oct 0', '06:00 7', '12:00 13', '18:00 19']);
});

test('longer stretches are ruled by days, Mondays and months', () => {
  const to = at('2026-11-25T09:42:10Z');
  expect(labels(to - 7 * dayMs, 7 * dayMs, 'Europe/Dublin')).toEqual([
    'Thu 19',
    'Fri 20',
    'Sat 21',
    'Sun 22',
    'Mon 23',
    'Tue 24',
    'Wed 25',
  ]);
  expect(labels(to - 30 * dayMs, 30 * dayMs, 'Europe/Dublin')).toEqual([
    '2 Nov',
    '9 Nov',
    '16 Nov',
    '23 Nov',
  ]);
  const year = ticksOf({ from: to - 365 * dayMs, to }, 'Europe/Dublin');
  expect(year).toHaveLength(12);
  expect(year.flatMap(({ label }) => label ?? [])).toEqual([
    '2026',
    'Mar',
    'May',
    'Jul',
    'Sep',
    'Nov',
  ]);
  expect(year.filter(({ begins }) => begins).map(({ label }) => label)).toEqual(['2026']);
});

test('a short stretch is ruled by minutes, never by more lines than can be read', () => {
  const from = at('2026-11-25T09:05:00Z');
  expect(labels(from, 20 * minuteMs, 'Europe/Dublin')).toEqual(['09:10', '09:20']);
  for (const minutes of [3, 10, 45, 100, 300, 700]) {
    const lines = ticksOf({ from, to: from + minutes * minuteMs }, 'Europe/Dublin');
    expect(lines.length).toBeGreaterThan(0);
    expect(lines.length).toBeLessThanOrEqual(10);
    expect(lines.filter(({ label }) => label !== null).length).toBeLessThanOrEqual(5);
  }
});

test('a date that a zone left out has no line', () => {
  // Apia had no 30 December 2011 (tz database).
  const from = at('2011-12-29T00:00:00Z');
  expect(labels(from, 4 * dayMs, 'Pacific/Apia')).toEqual(['Thu 29', 'Sat 31', 'Sun 1', 'Mon 2']);
});
