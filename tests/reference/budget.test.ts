/** Beyer et al. (eds.), The Site Reliability Workbook, O'Reilly 2018, chapter 5; where the book rounds, recomputed exactly. */
import { expect, test } from 'vitest';
import { allowedDownMs, burnRate } from '../../src/uptime/budget.ts';

const hourMs = 3_600_000;
const monthMs = 720 * hourMs;

function down(downMs: number, requiredMs: number) {
  return { upMs: requiredMs - downMs, degradedMs: 0, downMs };
}

// Table 5-4: error ratio and burn rate at an objective of 99.9 %.
test.each([
  [0.001, 1],
  [0.002, 2],
  [0.01, 10],
  [1, 1_000],
])('an error ratio of %d burns at rate %d', (ratio, rate) => {
  expect(burnRate(down(ratio * monthMs, monthMs), 0.999)).toBeCloseTo(rate, 9);
});

// Table 5-8 (E1, E2): 2 % of the budget of 30 days in one hour is burn rate 14.4, 5 % in six hours 6, 10 % in three days 1.
test.each([
  [0.02, 1, 14.4],
  [0.05, 6, 6],
  [0.1, 72, 1],
])('%d of the budget in %d hours is burn rate %d', (share, hours, rate) => {
  const usedMs = share * allowedDownMs(monthMs, 0.999);
  expect(burnRate(down(usedMs, hours * hourMs), 0.999)).toBeCloseTo(rate, 9);
});

// E12: the book prints 140 %.
test('one hour of total outage is 138.9 % of the budget of 99.9 % over 30 days', () => {
  expect(burnRate(down(hourMs, monthMs), 0.999)).toBeCloseTo(1.388888888888889, 12);
});

// E13.
test('one hour of total outage is 1.39 % of the budget of 90 % over 30 days, and burns at rate 10', () => {
  expect(burnRate(down(hourMs, monthMs), 0.9)).toBeCloseTo(0.01388888888888889, 12);
  expect(burnRate(down(hourMs, hourMs), 0.9)).toBe(10);
});

// E14: the book prints "26 seconds".
test('99.999 % over 30 days leave 25.92 s', () => {
  expect(allowedDownMs(monthMs, 0.99999)).toBe(25_920);
});

// E15: the book prints "1,000x"; its own 13.9 % agree with 100.
test('a tenth of an hour lost burns a budget of 99.9 % at rate 100', () => {
  expect(burnRate(down(hourMs / 10, hourMs), 0.999)).toBe(100);
  expect(burnRate(down(hourMs / 10, monthMs), 0.999)).toBeCloseTo(0.1388888888888889, 12);
});
