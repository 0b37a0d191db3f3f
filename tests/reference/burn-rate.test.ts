/**
 * Burn rates over windows of time, from spans as the record has them, against The Site Reliability Workbook (Beyer et
 * al. (eds.), O'Reilly 2018), chapter 5, at an objective of 99.9 % over 30 days. Where the chapter rounds or contradicts
 * itself the figures are recomputed exactly, and it is said.
 */
import { describe, expect, test } from 'vitest';
import type { Span } from '../../src/base/values.ts';
import { availabilityOf } from '../../src/uptime/availability.ts';
import { budgetOf, burningOf, burnRate, burnWindows } from '../../src/uptime/budget.ts';
import { history } from '../uptime/course.ts';

const minuteMs = 60_000;
const hourMs = 60 * minuteMs;
const monthMs = 720 * hourMs;
const objective = 0.999;
/** A share of errors is laid out as down time at the beginning of each of these. */
const periodMs = 10_000;
const beganAt = 100 * hourMs;

interface Errors {
  readonly ratio: number;
  readonly lastMs: number;
}

/** Up for a hundred hours, then that share of errors for so long, then up again. */
function rateAfter({ ratio, lastMs }: Errors) {
  const spans: Span[] = [{ state: 'up', from: 0, earliestFrom: 0, to: beganAt }];
  const downMs = Math.round(ratio * periodMs);
  for (let at = beganAt; at < beganAt + lastMs; at += periodMs) {
    spans.push({ state: 'down', from: at, earliestFrom: at, to: at + downMs });
    const up = { state: 'up', from: at + downMs, earliestFrom: at + downMs } as const;
    if (downMs < periodMs) spans.push({ ...up, to: at + periodMs });
  }
  const end = beganAt + Math.ceil(lastMs / periodMs) * periodMs;
  spans.push({ state: 'up', from: end, earliestFrom: end, to: null });
  return (sinceMs: number, windowMs: number) => {
    const now = beganAt + sinceMs;
    const until = spans.filter(({ from }) => from < now);
    const window = { from: now - windowMs, to: now };
    const rest = { outages: [], unconfirmed: [], planned: [], window, now };
    return burnRate(availabilityOf({ spans: until, ...rest }), objective) ?? 0;
  };
}

const total = { ratio: 1, lastMs: 100 * minuteMs };

// E4: (1 − objective) / error ratio × window × rate.
test.each([
  [14.4, 60, 51_840],
  [6, 360, 129_600],
  [1, 72 * 60, 259_200],
  [3, 24 * 60, 259_200],
  [36, 60, 129_600],
  // E10 and E11, which the book prints as "0.6 seconds" and "2 min and 10 seconds".
  [1, 10, 600],
  [1, 36 * 60, 129_600],
])(
  'a total outage reaches rate %d over %d minutes after %d ms, and not a millisecond before',
  (rate, minutes, detectedMs) => {
    const rateAt = rateAfter(total);
    expect(rateAt(detectedMs, minutes * minuteMs)).toBeGreaterThanOrEqual(rate);
    expect(rateAt(detectedMs - 1, minutes * minuteMs)).toBeLessThan(rate);
  },
);

/** When the rate is reached, to one period of the laid-out errors. */
function expectReached(errors: Errors, rate: number, windowMs: number, afterMinutes: number) {
  const rateAt = rateAfter(errors);
  expect(rateAt(afterMinutes * minuteMs + periodMs, windowMs)).toBeGreaterThanOrEqual(rate);
  expect(rateAt(afterMinutes * minuteMs - periodMs, windowMs)).toBeLessThan(rate);
}

describe('E5 to E7: a share of errors reaches a rate over a window after', () => {
  test.each([
    [0.15, 14.4, 60, 5.76],
    [0.15, 6, 360, 14.4],
    [0.15, 1, 72 * 60, 28.8],
    [0.02, 14.4, 5, 3.6],
    [0.02, 14.4, 60, 43.2],
    [0.01, 6, 30, 18],
    [0.01, 6, 360, 216],
    [0.01, 1, 360, 36],
    [0.01, 1, 72 * 60, 432],
  ])('%d, rate %d, %d minutes: %d minutes', (ratio, rate, windowMinutes, afterMinutes) => {
    const lastMs = (afterMinutes + 1) * minuteMs;
    expectReached({ ratio, lastMs }, rate, windowMinutes * minuteMs, afterMinutes);
  });

  test('1 % of errors never burn at 14.4 times the rate', () => {
    const rateAt = rateAfter({ ratio: 0.01, lastMs: 2 * hourMs });
    expect(rateAt(2 * hourMs, hourMs)).toBeCloseTo(10, 9);
  });
});

// E8 and E9, recomputed; the book prints "5 minutes" and "60 minutes" where 4.52 and 54.24 are exact.
describe('E8, E9: after the errors have stopped a window is below the rate again after', () => {
  test.each([
    [0.15, 5, 5, 4.52],
    [1, 5, 5, 4.928],
    [0.15, 10, 60, 54.24],
  ])(
    '%d for %d minutes, over %d minutes: %d minutes',
    (ratio, forMinutes, windowMinutes, clearMinutes) => {
      const rateAt = rateAfter({ ratio, lastMs: forMinutes * minuteMs });
      const at = (minutes: number) => (forMinutes + minutes) * minuteMs;
      const windowMs = windowMinutes * minuteMs;
      expect(rateAt(at(clearMinutes) - periodMs, windowMs)).toBeGreaterThan(14.4);
      expect(rateAt(at(clearMinutes) + periodMs, windowMs)).toBeLessThan(14.4);
    },
  );
});

// Table 5-8 and E1. Its code adds a pair of 24 h and 2 h at rate 3 that the table lacks; the table is taken.
test('the windows are those of the table, and each is worth its share of the budget', () => {
  expect(burnWindows.map(({ longMs, shortMs, rate }) => [longMs, shortMs, rate])).toEqual([
    [hourMs, 5 * minuteMs, 14.4],
    [6 * hourMs, 30 * minuteMs, 6],
    [72 * hourMs, 6 * hourMs, 1],
  ]);
  const shares = burnWindows.map(({ longMs, rate }) => (rate * longMs) / monthMs);
  [0.02, 0.05, 0.1].forEach((share, nth) => {
    expect(shares[nth]).toBeCloseTo(share, 12);
  });
});

// E2, E3; the book prints "20.5 hours" for rate 35.
test.each([
  [14.4, 50],
  [6, 120],
  [3, 240],
  [36, 20],
  [1, 720],
  [35, 20.571428571428573],
])('at rate %d the budget of 30 days is used up after %d hours', (rate, hours) => {
  const requiredMs = Math.round(hours * hourMs);
  const downMs = Math.round((rate * requiredMs) / 1_000);
  const figures = { upMs: requiredMs - downMs, degradedMs: 0, downMs, low: null, high: null };
  expect(budgetOf(figures, objective, monthMs - requiredMs)).toMatchObject({ leftMs: 0 });
  expect(burnRate(figures, objective)).toBeCloseTo(rate, 6);
});

describe('both windows of a pair count, and the gravest pair is told', () => {
  const burning = (errors: Errors, sinceMs: number) => {
    const rateAt = rateAfter(errors);
    return burningOf((windowMs) => rateAt(sinceMs, windowMs))?.rate ?? null;
  };

  test('a total outage: first the fastest', () => {
    expect(burning(total, 51_839)).toBeNull();
    expect(burning(total, 51_840)).toBe(14.4);
  });

  test('when it is over the short window ends it, while the long one still burns', () => {
    const short = { ratio: 1, lastMs: 2 * minuteMs };
    expect(burning(short, 6 * minuteMs)).toBe(14.4);
    expect(rateAfter(short)(8 * minuteMs, hourMs)).toBeGreaterThan(14.4);
    expect(burning(short, 8 * minuteMs)).toBeNull();
  });

  test('E7: slow errors reach the slow windows only', () => {
    expect(burning({ ratio: 0.01, lastMs: 300 * minuteMs }, 220 * minuteMs)).toBe(6);
    expect(burning({ ratio: 0.002, lastMs: 37 * hourMs }, 36.1 * hourMs)).toBe(1);
  });

  test('where nothing was required nothing burns', () => {
    expect(burningOf(() => null)).toBeNull();
  });
});

// "Low-traffic services" of the chapter: few probes make coarse ratios. Time is weighed here, and only confirmed time.
describe('asked every 30 s, within an hour', () => {
  const rateOf = (text: string, unconfirmed: [number, number, number, number][] = []) =>
    burnRate(availabilityOf(history(text, { window: [0, 3_600], unconfirmed })), objective);

  test('two single failures, far apart, burn nothing', () => {
    const failures = [600, 1_800].map((s): [number, number, number, number] => [
      s - 30,
      s,
      s,
      s + 30,
    ]);
    expect(rateOf('up 0', failures)).toBe(0);
  });

  test('two in a row are an outage of a minute by its middles, which burns at more than 14.4', () => {
    expect(rateOf('up 0 | down 630<600 | up 690<660')).toBeCloseTo(60 / 3.6, 12);
  });
});
