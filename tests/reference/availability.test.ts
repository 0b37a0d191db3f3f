/**
 * Published and recomputed figures of availability, through the function that the board uses.
 * "Recomputed": exact rational arithmetic by us, no published figure seen.
 */
import { describe, expect, test } from 'vitest';
import type { Span } from '../../src/base/values.ts';
import { availabilityOf } from '../../src/uptime/availability.ts';
import { allowedDownMs } from '../../src/uptime/budget.ts';
import { history, outagesOf } from '../uptime/course.ts';

const dayS = 86_400;

/** A window of so many seconds with outages of these lengths, known to the millisecond, spread over it. */
function withOutages(
  windowS: number,
  outagesS: readonly number[],
  planned: readonly [number, number][] = [],
) {
  const spacing = windowS / (outagesS.length + 1);
  const text = outagesS.map((lengthS, index) => {
    const from = Math.round(spacing * index + spacing / 2);
    return `| down ${from} | up ${(from + lengthS).toFixed(3)}`;
  });
  return availabilityOf(history(`up 0 ${text.join(' ')}`, { window: [0, windowS], planned }));
}

// Beyer et al. (eds.), Site Reliability Engineering, O'Reilly 2016, Appendix A: allowed unavailability by level. The
// book rounds (99.999 % of a day: 0.87 s for 0.864 s); these are its cells without rounding, in seconds. Its year has
// 365 days, its quarter 90, its month 30.
const allowedS: readonly (readonly [percent: number, ...exact: number[]])[] = [
  [90, 3_153_600, 777_600, 259_200, 60_480, 8_640, 360],
  [95, 1_576_800, 388_800, 129_600, 30_240, 4_320, 180],
  [99, 315_360, 77_760, 25_920, 6_048, 864, 36],
  [99.5, 157_680, 38_880, 12_960, 3_024, 432, 18],
  [99.9, 31_536, 7_776, 2_592, 604.8, 86.4, 3.6],
  [99.95, 15_768, 3_888, 1_296, 302.4, 43.2, 1.8],
  [99.99, 3_153.6, 777.6, 259.2, 60.48, 8.64, 0.36],
  [99.999, 315.36, 77.76, 25.92, 6.048, 0.864, 0.036],
];
const periods = [
  ['year', 365 * dayS],
  ['quarter', 90 * dayS],
  ['month', 30 * dayS],
  ['week', 7 * dayS],
  ['day', dayS],
  ['hour', 3_600],
] as const;
const cells = allowedS.flatMap(([percent, ...exact]) =>
  periods.map(([name, lengthS], index) => [percent, name, lengthS, exact[index]!] as const),
);

describe('the availability table of Site Reliability Engineering, Appendix A', () => {
  test.each(cells)('%d % of a %s', (percent, _name, lengthS, downS) => {
    const level = Number(`${percent}e-2`);
    expect(allowedDownMs(lengthS * 1_000, level)).toBe(Math.round(downS * 1_000));
    expect(withOutages(lengthS, [downS]).estimate).toBe(level);
  });
});

// A = MUT / (MUT + MDT): note to 4216/4217 of ITU-T E.800 (1994); IEC 61703:2016. Figures recomputed.
test.each([
  ['B1', 720 * 3_600, 1_800, 0.9993060374739764],
  ['B2', 100, 2, 0.9803921568627451],
  ['B3', 3_600 * 3_600, 3_600, 0.9997222993612885],
])('%s: availability follows from mean up and mean down time', (_, mutS, mdtS, availability) => {
  const text = [0, 1, 2].map((n) => `up ${n * (mutS + mdtS)} | down ${n * (mutS + mdtS) + mutS}`);
  const windowS = 3 * (mutS + mdtS);
  const figures = availabilityOf(history(text.join(' | '), { window: [0, windowS] }));
  expect(figures.estimate).toBe(availability);
  expect(figures).toMatchObject({ mutMs: mutS * 1_000, mdtMs: mdtS * 1_000, outages: 3 });
});

// Recomputed.
test('B5: three outages in 30 days', () => {
  expect(withOutages(30 * dayS, [300, 720, 2_592])).toMatchObject({
    estimate: 0.9986064814814815,
    downMs: 3_612_000,
    outages: 3,
    mdtMs: 1_204_000,
    mttrMs: 1_204_000,
    mutMs: 862_796_000,
    mtbfMs: 862_796_000,
  });
});

// Recomputed.
test('B6: the same with two hours of planned maintenance', () => {
  const figures = withOutages(30 * dayS, [300, 720, 2_592], [[1_000, 8_200]]);
  expect(figures.estimate).toBe(0.998602599814299);
  expect(figures.plannedMs).toBe(7_200_000);
});

// IEC 60050-192: without required time there is nothing to be available in.
test('B7: an empty required time has no availability', () => {
  expect(withOutages(0, [])).toMatchObject({ estimate: null, low: null, high: null });
});

// Recomputed from the lengths of these months in Europe/Berlin (IANA tz).
test.each([
  ['30 days', 30 * dayS, 2_592],
  ['28 days', 28 * dayS, 2_419.2],
  ['March 2026 in Berlin, one hour short', 2_674_800, 2_674.8],
  ['October 2026 in Berlin, one hour long', 2_682_000, 2_682],
])('B8: 99.9 %% allow in %s', (_, lengthS, downS) => {
  expect(allowedDownMs(lengthS * 1_000, 0.999)).toBe(downS * 1_000);
});

// Recomputed: (1 − 0.999) × 30 days is 2592.0000000000023 s in binary fractions.
test('B9: the budget is reckoned in whole parts', () => {
  expect((1 - 0.999) * 2_592_000).not.toBe(2_592);
  expect(allowedDownMs(2_592_000_000, 0.999)).toBe(2_592_000);
});

// Up, degraded, down, externally disabled: IEV 192-02-01, -22, -20, -23. Figures recomputed.
test('A3: degraded is up time, time behind another is not the down time of the service itself', () => {
  const text = 'up 0 | degraded 2400 | down 2700 | up 3300 | down@nas 3300';
  const figures = availabilityOf(history(text, { window: [0, 3_600] }));
  expect(figures).toMatchObject({
    upMs: 40 * 60_000,
    degradedMs: 5 * 60_000,
    ownDownMs: 10 * 60_000,
    externallyDisabledMs: 5 * 60_000,
  });
  const upMs = figures.upMs + figures.degradedMs;
  expect(upMs / (upMs + figures.ownDownMs)).toBe(0.8181818181818182);
  expect(figures.estimate).toBe(0.75);
});

// Mean time to restoration, detection included: IEV 192-07-23; fault detection time: IEC 60050-192, figure 1. Recomputed.
test('A4: time to restoration begins at the fault, not at its detection', () => {
  const faultAt = Date.UTC(2026, 10, 25, 12, 0, 0);
  const restoredAt = Date.UTC(2026, 10, 25, 12, 20, 0);
  const window = { from: faultAt - 3_600_000, to: faultAt + 3_600_000 };
  const spans: readonly Span[] = [
    { state: 'up', from: window.from, earliestFrom: window.from, to: faultAt },
    { state: 'down', from: faultAt, earliestFrom: faultAt, to: restoredAt },
    { state: 'up', from: restoredAt, earliestFrom: restoredAt, to: null },
  ];
  const outages = outagesOf(spans, [], 0).map((outage) => ({
    ...outage,
    confirmedAt: faultAt + 45_000,
  }));
  expect(
    availabilityOf({ spans, outages, unconfirmed: [], planned: [], window, now: window.to }),
  ).toMatchObject({ mttrMs: 1_200_000, detectionDelayMs: 45_000 });
});

// Interval-censored failure and restoration: Turnbull, J. R. Statist. Soc. B 38 (1976) 290–295 (from memory). Recomputed.
test('C20: last good 12:00:00, first bad 12:00:30, last bad 12:07:00, first good 12:07:30', () => {
  const windowS = 3_600;
  const figures = availabilityOf(
    history('up 0 | down 1030<1000 | up 1450<1420', { window: [0, windowS] }),
  );
  const downS = (share: number | null) => Math.round(windowS * (1 - share!) * 1_000) / 1_000;
  expect([figures.high, figures.estimate, figures.low].map(downS)).toEqual([390, 420, 450]);
  expect(figures).toMatchObject({ downMs: 420_000, mttrMs: 420_000 });
});

// C.5, fact 3: a standard result on sampling at random phase, no published figure. The mean error of middles is nil.
test('over all phases of asking, the estimated length of an outage is its true length', () => {
  const everyS = 30;
  const [fromS, lengthS] = [1_000, 420];
  const lengths = Array.from({ length: everyS }, (_, phase) => {
    const next = (s: number) => Math.floor((s - phase) / everyS) * everyS + phase + everyS;
    const [seenFrom, seenTo] = [next(fromS), next(fromS + lengthS)];
    const text = `up 0 | down ${seenFrom}<${seenFrom - everyS} | up ${seenTo}<${seenTo - everyS}`;
    return availabilityOf(history(text, { window: [0, 3_600] })).downMs;
  });
  expect(lengths.reduce((sum, ms) => sum + ms, 0) / everyS).toBe(lengthS * 1_000);
});
