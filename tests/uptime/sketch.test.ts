/** Quantiles from buckets: within 1 % of the exact ones, and the same however the values were shared out. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { quantile } from '../../src/uptime/quantiles.ts';
import {
  bucketOf,
  emptySketch,
  latencyOf,
  mergedSketch,
  relativeError,
  sketchFrom,
  sketchOf,
  sketchQuantile,
} from '../../src/uptime/sketch.ts';

/** Whole microseconds, of every size alike. */
const latencyUs = fc.oneof(
  fc.integer({ min: 0, max: 60_000_000 }),
  fc
    .double({ min: 0, max: 53, noNaN: true })
    .map((power) => Math.min(Math.floor(2 ** power), Number.MAX_SAFE_INTEGER)),
);
const samples = fc.array(latencyUs, { minLength: 1, maxLength: 60 });
const share = fc.double({ min: 0, max: 1, noNaN: true });
/** Of the last binary digits. */
const digits = 1e-12;

function expectNear(estimate: number, exact: number): void {
  expect(Math.abs(estimate - exact)).toBeLessThanOrEqual((relativeError + digits) * exact);
}

test('what stands for a latency is within 1 % of it', () => {
  fc.assert(
    fc.property(latencyUs, (us) => expectNear(latencyOf(bucketOf(us)), us)),
    { numRuns: 5_000 },
  );
  for (let us = 0; us <= 20_000; us++) expectNear(latencyOf(bucketOf(us)), us);
});

test('a longer latency is never in an earlier bucket', () => {
  fc.assert(
    fc.property(latencyUs, latencyUs, (one, other) => {
      expect(
        Math.sign(bucketOf(one) - bucketOf(other)) * Math.sign(one - other),
      ).toBeGreaterThanOrEqual(0);
    }),
  );
});

test('what stands for a bucket lies in it, up to the longest latency that a number holds', () => {
  const last = bucketOf(Number.MAX_SAFE_INTEGER);
  expect(last).toBeLessThan(2 ** 16);
  for (let bucket = 0; bucket <= last; bucket++) expect(bucketOf(latencyOf(bucket))).toBe(bucket);
});

test('a quantile is within 1 % of the exact one', () => {
  fc.assert(
    fc.property(samples, share, (us, p) => {
      const sorted = us.toSorted((one, other) => one - other);
      expectNear(sketchQuantile(sketchOf(us), p)!, quantile(sorted, p)!);
    }),
    { numRuns: 1_000 },
  );
});

test('a greater share never has a smaller quantile', () => {
  fc.assert(
    fc.property(samples, share, share, (us, p, q) => {
      const sketch = sketchOf(us);
      const least = sketchQuantile(sketch, Math.min(p, q))!;
      expect(least).toBeLessThanOrEqual(sketchQuantile(sketch, Math.max(p, q))! * (1 + digits));
    }),
  );
});

test('sketches of parts, put together in any order, are the sketch of all values', () => {
  fc.assert(
    fc.property(fc.array(samples, { maxLength: 6 }), (parts) => {
      const whole = sketchOf(parts.flat());
      const sketches = parts.map(sketchOf);
      expect(mergedSketch(sketches)).toEqual(whole);
      expect(mergedSketch(sketches.toReversed())).toEqual(whole);
      expect(mergedSketch([mergedSketch(sketches.slice(0, 2)), ...sketches.slice(2)])).toEqual(
        whole,
      );
      expect(whole.count).toBe(parts.flat().length);
    }),
  );
});

test('a sketch has its buckets in order, each once, and none that is empty', () => {
  const counts = new Map([
    [9, 1],
    [3, 0],
    [2, 5],
  ]);
  expect(sketchFrom(counts)).toEqual({
    count: 6,
    buckets: [
      [2, 5],
      [9, 1],
    ],
  });
  fc.assert(
    fc.property(samples, (us) => {
      const buckets = sketchOf(us).buckets.map(([bucket]) => bucket);
      expect(buckets).toEqual([...new Set(us.map(bucketOf))].sort((one, other) => one - other));
    }),
  );
});

test('no values have no quantile, and add nothing to others', () => {
  expect(sketchQuantile(emptySketch, 0.5)).toBeNull();
  expect(sketchOf([])).toEqual(emptySketch);
  expect(mergedSketch([])).toEqual(emptySketch);
  const sketch = sketchOf([1, 2, 2]);
  expect(mergedSketch([emptySketch, sketch])).toEqual(sketch);
});

test('no time at all is told as such, and a quantile between it and another lies between', () => {
  expect(bucketOf(0)).toBe(0);
  expect(latencyOf(0)).toBe(0);
  expect(sketchQuantile(sketchOf([0, 0, 0]), 0.99)).toBe(0);
  expectNear(sketchQuantile(sketchOf([0, 1_000]), 0.5)!, 500);
});
