/** How long answers took, gathered from observations and from sketches of many. */
import type { Outcome } from '../../base/values.ts';
import { latencyOf } from '../../uptime/sketch.ts';
import type { Latencies } from '../record.ts';
import type { Row } from './sealed/block.ts';
import { mergedSketches, type Sketches, sketchesOf } from './sealed/sketches.ts';
import { outcomesByNumber } from './stored.ts';

export type OutcomeCounts = Latencies['counts'];
type Seen = Pick<Row, 'outcome' | 'tookUs' | 'phases'>;

export interface LatencyTally {
  /** `outcome` by number. */
  add(row: Seen): void;
  addMany(counts: OutcomeCounts, sketches: Sketches): void;
  latencies(): Latencies;
}

export function latencyTally(): LatencyTally {
  const counts: { [outcome in Outcome]: number } = {
    answered: 0,
    limited: 0,
    failed: 0,
    unproven: 0,
  };
  const rows: Seen[] = [];
  const many: Sketches[] = [];
  return {
    add: (row) => {
      const outcome = outcomesByNumber[row.outcome];
      if (outcome !== undefined) counts[outcome]++;
      rows.push(row);
    },
    addMany: (added, sketches) => {
      for (const outcome of outcomesByNumber) counts[outcome] += added[outcome];
      many.push(sketches);
    },
    latencies: () => ({ counts, ...mergedSketches([...many, sketchesOf(rows)]) }),
  };
}

/** `latencyOf` by way of a table: a month asks for it a hundred thousand times. */
export function latencyOfBucket(bucket: number): number {
  return table[bucket] ?? latencyOf(bucket);
}

/** Up to the hour and beyond. */
const table = Float64Array.from({ length: 1_200 }, (_, bucket) => latencyOf(bucket));
