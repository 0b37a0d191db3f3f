/** The error budget at its edges; its published values stand in tests/reference. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { availabilityOf } from '../../src/uptime/availability.ts';
import { allowedDownMs, budgetOf, burnRate } from '../../src/uptime/budget.ts';
import { histories } from './random-course.ts';

test('a window that required nothing burns nothing that can be told', () => {
  expect(burnRate({ upMs: 0, degradedMs: 0, downMs: 0 }, 0.999)).toBeNull();
});

test('an objective of all the time has no budget to burn', () => {
  expect(allowedDownMs(86_400_000, 1)).toBe(0);
  expect(burnRate({ upMs: 0, degradedMs: 0, downMs: 1 }, 1)).toBeNull();
});

test('degraded time is required time that burns nothing', () => {
  expect(burnRate({ upMs: 500, degradedMs: 499, downMs: 1 }, 0.999)).toBe(1);
});

test('an objective that lost its last binary digit on the way allows what its text says', () => {
  expect(99.9 / 100).not.toBe(0.999);
  expect(allowedDownMs(2_592_000_000, 99.9 / 100)).toBe(2_592_000);
});

const day = { upMs: 86_300_000, degradedMs: 0, downMs: 100_000, low: 0.998, high: 0.999 };

test('what is left has the bounds of the availability', () => {
  expect(budgetOf(day, 0.998)).toEqual({
    objective: 0.998,
    allowedMs: 172_800,
    usedMs: 100_000,
    leftMs: 72_800,
    leftLowMs: 0,
    leftHighMs: 86_400,
    burnRate: 100 / 172.8,
  });
});

test('more used than allowed leaves less than nothing', () => {
  expect(budgetOf(day, 0.999)).toMatchObject({ allowedMs: 86_400, leftMs: -13_600 });
});

test('the time that is still to come brings its own part of the budget, and is no time that burned', () => {
  const soFar = budgetOf(day, 0.999, 29 * 86_400_000);
  expect(soFar).toMatchObject({ allowedMs: 2_592_000, leftMs: 2_492_000 });
  expect(soFar?.burnRate).toBe(budgetOf(day, 0.999)?.burnRate);
});

test('a month that has only begun has all its budget, and no rate yet', () => {
  const none = { upMs: 0, degradedMs: 0, downMs: 0, low: null, high: null };
  expect(budgetOf(none, 0.999, 1_000_000)).toMatchObject({ leftMs: 1_000, burnRate: null });
  expect(budgetOf(none, 0.999)).toBeNull();
});

test('whatever happened, what is left lies within its bounds, and is what was allowed without what was used', () => {
  fc.assert(
    fc.property(
      histories,
      fc.integer({ min: 0, max: 1_000 }),
      fc.nat(500),
      (one, permille, restMs) => {
        const budget = budgetOf(availabilityOf(one), permille / 1_000, restMs);
        if (budget === null) return;
        expect(budget.leftMs).toBe(budget.allowedMs - budget.usedMs);
        expect(budget.leftLowMs).toBeLessThanOrEqual(budget.leftMs);
        expect(budget.leftHighMs).toBeGreaterThanOrEqual(budget.leftMs);
      },
    ),
  );
});
