/** Lateness: quantiles within a tenth of the exact ones, over the last hour or two, and turns that never came. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { latenessMeter } from '../../src/base/lateness.ts';
import { nearestRank } from '../../src/uptime/quantiles.ts';
import { simulatedClock } from '../support/clock-simulated.ts';

const minuteMs = 60_000;

function meter() {
  const clock = simulatedClock({ wallMs: 1_795_579_200_000 });
  return { clock, ...latenessMeter(clock) };
}

test('nothing that began has no lateness', () => {
  expect(meter().lateness()).toEqual({
    startsCount: 0,
    p50Ms: null,
    p99Ms: null,
    maxMs: null,
    skippedCount: 0,
  });
});

test('quantiles are within a tenth of the nearest rank, or both below a millisecond; the latest is exact', () => {
  const lateMs = fc.double({ min: 0, max: 600_000, noNaN: true });
  fc.assert(
    fc.property(fc.array(lateMs, { minLength: 1 }), (late) => {
      const { began, lateness } = meter();
      for (const ms of late) began(ms, 1e9);
      const sorted = late.toSorted((one, other) => one - other);
      const seen = lateness();
      expect(seen.startsCount).toBe(late.length);
      expect(seen.maxMs).toBe(sorted.at(-1));
      for (const [p, ms] of [
        [0.5, seen.p50Ms],
        [0.99, seen.p99Ms],
      ] as const) {
        const exact = nearestRank(sorted, p) ?? 0;
        if (exact > 1) expect(Math.abs((ms ?? 0) / exact - 1)).toBeLessThan(0.1);
        else expect(ms).toBeLessThanOrEqual(1);
      }
    }),
  );
});

test('a start that is later than an interval has passed turns over', () => {
  const { began, lateness } = meter();
  for (const lateMs of [29_999, 30_000, 95_000]) began(lateMs, 30_000);
  expect(lateness().skippedCount).toBe(0 + 1 + 3);
});

test('what lies more than two hours back is forgotten, what lies within the hour is not', async () => {
  const { clock, began, lateness } = meter();
  began(5_000, minuteMs);
  await clock.advance(59 * minuteMs);
  expect(lateness()).toMatchObject({ startsCount: 1, maxMs: 5_000 });
  await clock.advance(2 * minuteMs);
  began(3, minuteMs);
  expect(lateness()).toMatchObject({ startsCount: 2, maxMs: 5_000 });
  await clock.advance(60 * minuteMs);
  expect(lateness()).toMatchObject({ startsCount: 1, maxMs: 3 });
  await clock.advance(120 * minuteMs);
  expect(lateness().startsCount).toBe(0);
});
