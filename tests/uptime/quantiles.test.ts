/** Quantiles by their laws, and observations by steps of time. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import type { Observation, Outcome } from '../../src/base/values.ts';
import { nearestRank, quantile, stepsOf } from '../../src/uptime/quantiles.ts';

const samples = fc
  .array(fc.integer({ min: 0, max: 10_000_000 }), { minLength: 1, maxLength: 60 })
  .map((values) => values.sort((a, b) => a - b));
const share = fc.integer({ min: 0, max: 1_000 }).map((permille) => permille / 1_000);

test('a quantile lies between the least and the greatest sample, which are its ends', () => {
  fc.assert(
    fc.property(samples, share, (sorted, p) => {
      for (const of of [quantile, nearestRank]) {
        expect(of(sorted, 0)).toBe(sorted[0]);
        expect(of(sorted, 1)).toBe(sorted.at(-1));
        expect(of(sorted, p)).toBeGreaterThanOrEqual(sorted[0]!);
        expect(of(sorted, p)).toBeLessThanOrEqual(sorted.at(-1)!);
      }
    }),
  );
});

test('a greater share never has a smaller quantile', () => {
  fc.assert(
    fc.property(samples, share, share, (sorted, p, q) => {
      const [less, more] = [Math.min(p, q), Math.max(p, q)];
      expect(nearestRank(sorted, less)).toBeLessThanOrEqual(nearestRank(sorted, more)!);
      // Interpolation may be off by the last binary digit.
      expect(quantile(sorted, less)).toBeLessThanOrEqual(quantile(sorted, more)! + 1e-6);
    }),
  );
});

test('the nearest rank is the least sample that at least so many hundredths of all do not exceed', () => {
  fc.assert(
    fc.property(samples, fc.integer({ min: 1, max: 100 }), (sorted, hundredths) => {
      const enough = sorted.find(
        (value) =>
          100 * sorted.filter((other) => other <= value).length >= hundredths * sorted.length,
      );
      expect(nearestRank(sorted, hundredths / 100)).toBe(enough);
    }),
  );
});

test('no samples have no quantile', () => {
  expect(quantile([], 0.5)).toBeNull();
  expect(nearestRank([], 0.5)).toBeNull();
});

function seen(at: number, outcome: Outcome, tookUs: number): Observation {
  const trouble = { layer: 'port', reason: 'refused', detail: 'refused', hint: 'look' } as const;
  return {
    at,
    outcome,
    tookUs,
    phases: {},
    trouble: outcome === 'answered' ? null : trouble,
    facts: {},
  };
}

test('a step counts all observations, and takes the latencies of the answers only', () => {
  const observations = [
    seen(1_000, 'answered', 1_000),
    seen(1_500, 'limited', 100),
    seen(1_700, 'answered', 201),
    seen(2_000, 'failed', 5_000_000),
    seen(2_500, 'unproven', 5_000_000),
  ];
  expect(stepsOf({ observations, from: 1_000, to: 3_000, stepMs: 2_000 })).toEqual([
    { at: 1_000, count: 5, failed: 1, p50Us: 201, p95Us: 920, p99Us: 984 },
  ]);
});

test('steps begin at their instant and end before the next, and empty ones are there too', () => {
  const observations = [999, 1_000, 1_999, 3_000, 3_499, 3_500].map((at) =>
    seen(at, 'answered', at),
  );
  expect(
    stepsOf({ observations, from: 1_000, to: 3_500, stepMs: 1_000 }).map(({ at, count, p50Us }) => [
      at,
      count,
      p50Us,
    ]),
  ).toEqual([
    [1_000, 2, 1_500],
    [2_000, 0, null],
    [3_000, 2, 3_250],
  ]);
});

test('every observation of the range is in just one step', () => {
  fc.assert(
    fc.property(
      fc.array(fc.nat(200)),
      fc.nat(100),
      fc.nat(150),
      fc.integer({ min: 1, max: 40 }),
      (ats, from, lengthMs, stepMs) => {
        const observations = ats.map((at) => seen(at, at % 3 === 0 ? 'failed' : 'answered', at));
        const to = from + lengthMs;
        const steps = stepsOf({ observations, from, to, stepMs });
        const inside = ats.filter((at) => from <= at && at < to);
        expect(steps.reduce((sum, { count }) => sum + count, 0)).toBe(inside.length);
        expect(steps.reduce((sum, { failed }) => sum + failed, 0)).toBe(
          inside.filter((at) => at % 3 === 0).length,
        );
        expect(steps.length).toBe(Math.ceil(lengthMs / stepMs));
      },
    ),
  );
});

test('a step that would never end is a mistake of the caller', () => {
  expect(() => stepsOf({ observations: [], from: 0, to: 10, stepMs: 0 })).toThrow(RangeError);
  expect(() => stepsOf({ observations: [], from: 0, to: 10, stepMs: Number.NaN })).toThrow(
    RangeError,
  );
});
