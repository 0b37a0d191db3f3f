/** The latencies of a block, as buckets: by their distance from the median or, where they move slowly, from the one before. */
import { damaged, type Eye, type Pen } from './bytes.ts';
import { type Narrow, narrowed, readNarrow, shortest, wideMark, writeNarrow } from './narrow.ts';

const bucketMax = 0xffff;

/** Returns the column; what it takes to read it goes to the head. */
export function writeLatencies(head: Pen, buckets: Uint16Array): Uint8Array {
  const median = buckets.slice().sort()[buckets.length >> 1] ?? 0;
  const way = shortest([written(buckets, median, false), written(buckets, median, true)]);
  head.number(median);
  head.number(way.fromBefore ? 1 : 0);
  return writeNarrow(head, way);
}

function written(
  buckets: Uint16Array,
  median: number,
  fromBefore: boolean,
): Narrow & { readonly fromBefore: boolean } {
  const distances = new Int32Array(buckets).map((bucket, nth) =>
    fromBefore ? bucket - (buckets[nth - 1] ?? median) : bucket - median,
  );
  return { fromBefore, ...narrowed(distances, (nth) => buckets[nth] ?? 0) };
}

export function readLatencies(head: Eye, column: Uint8Array, count: number): Uint16Array {
  let from = head.number(bucketMax);
  const fromBefore = head.number(1) === 1;
  const { numbers: distances, wide } = readNarrow(head, column, count);
  const buckets = new Uint16Array(count);
  let wideNth = 0;
  for (let nth = 0; nth < count; nth++) {
    const distance = distances[nth] ?? 0;
    const bucket = distance === wideMark ? (wide[wideNth++] ?? -1) : from + distance;
    if (bucket < 0 || bucket > bucketMax) throw damaged('there is no such latency');
    buckets[nth] = bucket;
    if (fromBefore) from = bucket;
  }
  return buckets;
}
