/**
 * What the record promises of worlds in which nothing can be missed: every stay, up or down, lasts longer than interval
 * and confirmation, and no packet is lost. Then every outage is found and no other, its ends lie where the record says
 * that they lie, and the truth lies within the bounds.
 */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { availabilityOf } from '../../src/uptime/availability.ts';
import { type Interval, intersect, totalMs, union } from '../../src/uptime/intervals.ts';
import { lived, trueOutages } from './lived.ts';
import { inWorlds } from './proof.ts';
import { calmWorlds, shares } from './worlds.ts';

const windowsAsShares = fc.array(fc.tuple(shares, shares), { minLength: 1, maxLength: 10 });

describe('where nothing can be missed', () => {
  test('every outage is found, no other, and its ends lie inside the stated intervals', async () => {
    await inWorlds(calmWorlds, 60, async (world) => {
      const { entriesOf, endedAt } = await lived(world);
      for (const service of world.services) {
        const { outages } = entriesOf(service.id);
        const truth = trueOutages(service, endedAt);
        expect(outages).toHaveLength(truth.length);
        for (const [nth, { from, to }] of truth.entries()) {
          const outage = outages[nth];
          if (!outage) throw new Error('checked above');
          expect(from).toBeGreaterThan(outage.lastGoodAt ?? Number.NEGATIVE_INFINITY);
          expect(from).toBeLessThanOrEqual(outage.firstFailedAt);
          expect(to).toBeGreaterThan(outage.lastFailedAt);
          expect(to).toBeLessThanOrEqual(outage.restoredAt ?? endedAt);
          expect(outage.restoredAt === null).toBe(to === endedAt);
        }
      }
    });
  });

  test('the true availability of any window lies within the bounds, and so does the mean time to restoration', async () => {
    await inWorlds(fc.tuple(calmWorlds, windowsAsShares), 60, async ([world, windows]) => {
      const { entriesOf, looksOf, endedAt } = await lived(world);
      for (const service of world.services) {
        const { spans, outages, unconfirmed } = entriesOf(service.id);
        const looks = looksOf(service.id);
        const down = union(trueOutages(service, endedAt));
        // Up to the answers that decided the last stay: what came after the last answer nobody can know.
        const first = looks[0]?.observation.at ?? 0;
        const last = spans.at(-1)?.from ?? 0;
        for (const [one, other] of [[0, 1] as const, ...windows]) {
          const from = Math.round(first + Math.min(one, other) * (last - first));
          const to = Math.round(first + Math.max(one, other) * (last - first));
          const window: Interval = { from, to };
          const seen = availabilityOf({
            spans,
            outages,
            unconfirmed,
            planned: [],
            window,
            now: endedAt,
          });
          expect(seen.unobservedMs).toBe(0);
          if (seen.estimate === null || seen.low === null || seen.high === null) continue;
          const truth = 1 - totalMs(intersect(down, union([window]))) / (to - from);
          expect(seen.low).toBeLessThanOrEqual(truth + 1e-12);
          expect(seen.high).toBeGreaterThanOrEqual(truth - 1e-12);
          expect(seen.low).toBeLessThanOrEqual(seen.estimate);
          expect(seen.high).toBeGreaterThanOrEqual(seen.estimate);
        }
        const restored = outages.filter((outage) => outage.restoredAt !== null);
        const seen = availabilityOf({
          spans,
          outages,
          unconfirmed,
          planned: [],
          window: { from: first, to: endedAt },
          now: endedAt,
        });
        if (restored.length === 0 || restored[0]?.lastGoodAt === null) continue;
        const meanOf = (lengths: readonly number[]) =>
          lengths.reduce((sum, length) => sum + length, 0) / lengths.length;
        const shortest = meanOf(restored.map((one) => one.lastFailedAt - one.firstFailedAt));
        const longest = meanOf(
          restored.map((one) => (one.restoredAt ?? 0) - (one.lastGoodAt ?? 0)),
        );
        const truth = meanOf(
          down.slice(0, restored.length).map(({ from, to }) => to - Math.max(from, first)),
        );
        for (const mean of [truth, seen.mttrMs ?? Number.NaN]) {
          expect(mean).toBeGreaterThanOrEqual(shortest - 1);
          expect(mean).toBeLessThanOrEqual(longest + 1);
        }
      }
    });
  });
});
