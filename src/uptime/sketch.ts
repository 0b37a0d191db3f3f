/**
 * Quantiles that can be added up: latencies counted in buckets whose widths grow with the value, so that each is known to
 * within 1 % whatever its size. Masson, Rim & Lee, DDSketch, PVLDB 12 (2019) 2195–2205, section 2.
 */

/** Largest relative error of a value. */
export const relativeError = 0.01;
/** The ratio of the bounds of a bucket: (1 + α) / (1 − α). */
const gamma = (1 + relativeError) / (1 - relativeError);
const logGamma = Math.log(gamma);

/** Counts of whole microseconds by bucket. Bucket 0 holds 0 µs alone, bucket n ≥ 1 what lies in (γⁿ⁻², γⁿ⁻¹]. */
export interface Sketch {
  readonly count: number;
  /** Those that hold something, in order. */
  readonly buckets: readonly (readonly [bucket: number, count: number])[];
}

export const emptySketch: Sketch = { count: 0, buckets: [] };

export function bucketOf(us: number): number {
  // What stands for 1 µs is a little less than that, and belongs to its bucket.
  return us <= 1 / gamma ? 0 : 1 + Math.ceil(Math.log(us) / logGamma);
}

/** What stands for all values of the bucket: none of them is further away than the relative error. */
export function latencyOf(bucket: number): number {
  return bucket === 0 ? 0 : (2 * gamma ** (bucket - 1)) / (gamma + 1);
}

export function sketchOf(tookUs: Iterable<number>): Sketch {
  const counts = new Map<number, number>();
  for (const us of tookUs) {
    const bucket = bucketOf(us);
    counts.set(bucket, (counts.get(bucket) ?? 0) + 1);
  }
  return sketchFrom(counts);
}

/** All of them together: the same as one sketch of all values. */
export function mergedSketch(sketches: readonly Sketch[]): Sketch {
  const counts = new Map<number, number>();
  for (const [bucket, count] of sketches.flatMap(({ buckets }) => buckets)) {
    counts.set(bucket, (counts.get(bucket) ?? 0) + count);
  }
  return sketchFrom(counts);
}

/** From counts by bucket, in any order; empty buckets are left out. */
export function sketchFrom(counts: ReadonlyMap<number, number>): Sketch {
  const buckets = [...counts]
    .filter(([, count]) => count > 0)
    .sort(([one], [other]) => one - other);
  return { count: buckets.reduce((sum, [, count]) => sum + count, 0), buckets };
}

/**
 * The quantile by definition 7 of `quantiles.ts`, between the values that stand for the two order statistics: within the
 * relative error of the exact one. `p` in 0…1. Null without values.
 */
export function sketchQuantile(sketch: Sketch, p: number): number | null {
  if (sketch.count === 0) return null;
  const position = p * (sketch.count - 1);
  const below = latencyOf(bucketAt(sketch, Math.floor(position)));
  const above = latencyOf(bucketAt(sketch, Math.ceil(position)));
  return below + (position - Math.floor(position)) * (above - below);
}

function bucketAt({ buckets }: Sketch, rank: number): number {
  let seen = 0;
  for (const [bucket, count] of buckets) {
    seen += count;
    if (rank < seen) return bucket;
  }
  return buckets.at(-1)?.[0] ?? 0;
}
