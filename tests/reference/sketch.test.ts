/**
 * Quantiles of sketches. Masson, Rim & Lee, DDSketch, PVLDB 12 (2019) 2195–2205: γ, keys, representatives and quantiles for
 * α = 0.01, as their formulae give them and an independent implementation printed them. Its key i is bucket i + 1 here, since
 * bucket 0 is kept for 0 µs. Compared with hdr-histogram-js 3.0.1, and with exact quantiles by d3-array 3.2.5 (definition 7).
 */
import { quantileSorted } from 'd3-array';
import { build } from 'hdr-histogram-js';
import { describe, expect, test } from 'vitest';
import {
  bucketOf,
  latencyOf,
  mergedSketch,
  relativeError,
  sketchOf,
  sketchQuantile,
} from '../../src/uptime/sketch.ts';
import { normal, seeded } from '../record/support/rows.ts';

const thousand = Array.from({ length: 1_000 }, (_, nth) => nth + 1);
/** Microseconds around 25 ms, σ 0.6: what the latencies of a service on a home network look like. */
function lognormal(count: number): number[] {
  const random = seeded(count);
  return Array.from({ length: count }, () => Math.round(25_000 * Math.exp(0.6 * normal(random))));
}

function expectNear(estimate: number | null, exact: number, allowed = relativeError): void {
  expect(Math.abs((estimate ?? Number.NaN) - exact) / exact).toBeLessThanOrEqual(allowed);
}

test('F3: a bucket ends γ = (1 + α) / (1 − α) = 1.02020202020202 times as high as the one before', () => {
  for (const bucket of [1, 2, 100, 1_000]) {
    expect(latencyOf(bucket + 1) / latencyOf(bucket)).toBeCloseTo(1.02020202020202, 12);
  }
});

test.each([
  [1, 0],
  [1.5, 21],
  [2, 35],
  [10, 116],
  [25, 161],
  [100, 231],
  [1_000, 346],
])('F4: %d has the key %i', (value, key) => {
  expect(bucketOf(value)).toBe(key + 1);
});

test.each([
  [0, 0.99],
  [35, 1.993661701417351],
  [161, 24.78049876990369],
  [346, 1002.4280085221619],
])('F5: key %i stands for %d', (key, value) => {
  expect(latencyOf(key + 1)).toBeCloseTo(value, 10);
});

describe('F6: the numbers 1 to 1000', () => {
  test.each([
    [0.5, 497.7794014558298],
    [0.9, 907.0313473738394],
    [0.95, 944.0492576839644],
    [0.99, 982.5779489474655],
  ])('have at %d the quantile %d', (p, value) => {
    expect(sketchQuantile(sketchOf(thousand), p)).toBeCloseTo(value, 9);
    expectNear(value, quantileSorted(thousand, p)!);
  });
});

test('F7: the odd and the even ones of 1 to 1000, put together, are the whole', () => {
  const [odd, even] = [1, 0].map((rest) => sketchOf(thousand.filter((one) => one % 2 === rest)));
  expect(mergedSketch([odd!, even!])).toEqual(sketchOf(thousand));
});

test('F8: from 1 ms to 60 s there are ln(60000) / ln γ = 550.09 buckets', () => {
  expect(Math.abs(bucketOf(60_000_000) - bucketOf(1_000) - 550.09)).toBeLessThan(1);
});

describe('against exact quantiles of lognormal latencies (d3-array)', () => {
  test.each([120, 2_880, 86_400])('%i of them', (count) => {
    const latencies = lognormal(count);
    const sketch = sketchOf(latencies);
    const sorted = latencies.toSorted((one, other) => one - other);
    for (const p of [0, 0.01, 0.25, 0.5, 0.9, 0.95, 0.99, 0.999, 1]) {
      expectNear(sketchQuantile(sketch, p), quantileSorted(sorted, p)!);
    }
  });
});

/** Three digits: within a thousandth. */
const hdrError = 0.001;
const histogram = () =>
  build({ numberOfSignificantValueDigits: 3, useWebAssembly: false, bitBucketSize: 32 });

/** With 10,001 values, definition 7 and the rank ⌈p · n⌉ of the histogram take the same one of them at these shares. */
const sharedShares = [0.5, 0.75, 0.9, 0.95, 0.99, 0.999];

test('against a histogram of high dynamic range, for lognormal latencies', () => {
  const latencies = lognormal(10_001);
  const other = histogram();
  for (const us of latencies) other.recordValue(us);
  const sketch = sketchOf(latencies);
  for (const p of sharedShares) {
    expectNear(
      sketchQuantile(sketch, p),
      other.getValueAtPercentile(100 * p),
      relativeError + hdrError,
    );
  }
});

test('F.3: ten thousand values of 1000 and one of 100 000 000', () => {
  const values = [...Array<number>(10_000).fill(1_000), 100_000_000];
  const other = histogram();
  for (const us of values) other.recordValue(us);
  expect([50, 99, 99.99, 99.999].map((percent) => other.getValueAtPercentile(percent))).toEqual([
    1_000, 1_000, 1_000, 100_007_935,
  ]);
  const sketch = sketchOf(values);
  expect(sketch.count).toBe(10_001);
  for (const p of [0.5, 0.99, 0.9999]) expectNear(sketchQuantile(sketch, p), 1_000);
  expectNear(sketchQuantile(sketch, 1), 100_000_000);
});

test('F.3: the same, corrected for what a stalled asker left out', () => {
  const missing = Array.from({ length: 9_999 }, (_, nth) => 10_000 * (nth + 1));
  const values = [...Array<number>(10_000).fill(1_000), ...missing, 100_000_000];
  const sketch = sketchOf(values);
  expect(sketch.count).toBe(20_000);
  expectNear(sketchQuantile(sketch, 0.5), quantileSorted(values, 0.5)!);
  for (const [p, published] of [
    [0.75, 50_003_967],
    [0.9, 80_019_455],
    [0.99, 98_041_855],
  ] as const) {
    expectNear(sketchQuantile(sketch, p), published, relativeError + hdrError);
  }
});
