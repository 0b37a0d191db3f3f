/** Rows of the tail: any that there may be, and those of a usual day. */
import fc from 'fast-check';
import type { Row } from '../../../src/record/sqlite/sealed/block.ts';
import { outcomeNumbers } from '../../../src/record/sqlite/stored.ts';
import { hour, minute, second, t0 } from './values.ts';

/** From one instant to the next: on time or late, another interval, at once, a gap of hours, a clock that was set back. */
const gap = fc.oneof(
  { weight: 4, arbitrary: fc.integer({ min: 0, max: 9 }).map((late) => 30 * second + late) },
  { weight: 2, arbitrary: fc.integer({ min: 0, max: 200 }).map((late) => minute + late) },
  fc.constantFrom(0, 1, 5 * second),
  fc.integer({ min: hour, max: 9 * hour }),
  fc.integer({ min: -3 * hour, max: -1 }),
);

const latencyUs = fc.oneof(
  { weight: 4, arbitrary: fc.integer({ min: 900, max: 1_900 }) },
  fc.constantFrom(0, 1, 2),
  fc.integer({ min: 0, max: 2 ** 40 }),
);

const text = fc.oneof(
  fc.constantFrom('nothing listens on 192.0.2.7:5432', 'gave no answer within 5 s'),
  fc.string({ unit: 'grapheme', maxLength: 40 }),
);

const row = fc.record({
  gap,
  outcome: fc.oneof(
    { weight: 3, arbitrary: fc.constant<number>(outcomeNumbers.answered) },
    fc.constantFrom<number>(...Object.values(outcomeNumbers)),
  ),
  tookUs: latencyUs,
  reason: fc.option(fc.oneof(fc.constantFrom('refused', 'slow', 'silent'), text)),
  detail: fc.option(text),
  hint: fc.option(text),
  facts: fc.option(
    fc.oneof(fc.integer({ min: 1, max: 3 }), fc.integer({ min: 1, max: 2 ** 32 - 1 })),
  ),
  phases: fc.record(
    {
      resolveUs: latencyUs,
      connectUs: latencyUs,
      secureUs: latencyUs,
      speakUs: latencyUs,
      answerUs: latencyUs,
    },
    { requiredKeys: [] },
  ),
});

/** In the order in which they were seen, which a clock that was set back makes another than that of their instants. */
export const anyRows: fc.Arbitrary<readonly Row[]> = fc
  .array(row, { maxLength: 60 })
  .map((parts) => {
    let at = t0;
    return parts.map(({ gap: sinceMs, ...rest }) => {
      at += sinceMs;
      return { at, ...rest };
    });
  });

/** Numbers in 0…1 that are the same in every run: mulberry32, common practice, no source. */
export function seeded(seed: number): () => number {
  let state = seed;
  return () => {
    state = (state + 0x6d2b79f5) | 0;
    let mixed = Math.imul(state ^ (state >>> 15), 1 | state);
    mixed = (mixed + Math.imul(mixed ^ (mixed >>> 7), 61 | mixed)) ^ mixed;
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 2 ** 32;
  };
}

/** A normal variate of mean 0 and deviation 1: Box & Muller, Ann. Math. Stat. 29 (1958) 610–611. */
export function normal(random: () => number): number {
  return Math.sqrt(-2 * Math.log(1 - random())) * Math.cos(2 * Math.PI * random());
}

/**
 * A day of a service that is asked every 30 s and 0 to 2 ms late: lognormal latencies (median 20 ms, σ 0.3), one in 200 of
 * them a spike, and one failure in a thousand.
 */
export function usualDay(seed: number): readonly Row[] {
  const random = seeded(seed);
  const lognormal = (medianUs: number) => Math.round(medianUs * Math.exp(0.3 * normal(random)));
  return Array.from({ length: 2_880 }, (_, nth) => {
    const at = t0 + nth * 30 * second + Math.floor(3 * random());
    const resolveUs = lognormal(300);
    const connectUs = lognormal(900);
    const trouble = { reason: 'refused', detail: 'nothing listens on 192.0.2.7:5432', hint: null };
    if (random() < 0.001) {
      const tookUs = resolveUs + connectUs + 40;
      const phases = { resolveUs, connectUs };
      return { at, outcome: outcomeNumbers.failed, tookUs, ...trouble, facts: null, phases };
    }
    const tookUs = lognormal(20_000) * (random() < 0.005 ? 10 : 1);
    const answerUs = Math.max(tookUs - resolveUs - connectUs, 0);
    const outcome = outcomeNumbers.answered;
    const phases = { resolveUs, connectUs, answerUs };
    return { at, outcome, tookUs, reason: null, detail: null, hint: null, facts: 1, phases };
  });
}
