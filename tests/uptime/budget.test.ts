/** The error budget at its edges; its published values stand in tests/reference. */
import { expect, test } from 'vitest';
import { allowedDownMs, burnRate } from '../../src/uptime/budget.ts';

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
