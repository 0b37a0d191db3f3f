/** What every engine must do when days are over: seal and prune them, and read them as before. */
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import type { Observation } from '../../../src/base/values.ts';
import type { Record } from '../../../src/record/record.ts';
import { stepsOf } from '../../../src/uptime/quantiles.ts';
import { relativeError, sketchOf } from '../../../src/uptime/sketch.ts';
import type { OpenedRecord } from '../../support/record-contract.ts';
import { always, answered, changes, failed, hour, minute, pulse, second, t0 } from './values.ts';

const day = 24 * hour;
/** The UTC day of t0. */
const midnight = Math.floor(t0 / day) * day;

/** Two days and a bit, every ten minutes; every seventh fails, every fifth is limited. */
const course: readonly Observation[] = Array.from({ length: 300 }, (_, place) => {
  const at = midnight + place * 10 * minute + (place % 3);
  const tookUs = 400 + place * 17;
  if (place % 7 === 3) return failed(at, { tookUs, phases: { connectUs: tookUs } });
  const phases = { connectUs: 100 + place, answerUs: tookUs - 200 };
  if (place % 5 !== 2) return answered(at, { tookUs, phases, facts: { version: `${place >> 6}` } });
  const trouble = { layer: 'answer', reason: 'slow', detail: 'took long', hint: 'x' } as const;
  return answered(at, { tookUs, phases, outcome: 'limited', trouble });
});

export function sealedContract(engine: string, open: () => Promise<OpenedRecord>): void {
  describe(`days that are over (${engine})`, () => {
    let opened: OpenedRecord;
    let record: Record;
    beforeEach(async () => {
      opened = await open();
      record = opened.record;
      for (const observation of course) await record.observe({ serviceId: 'shop', observation });
      await record.flush(pulse(midnight + 2 * day + 3 * hour));
    });
    afterEach(() => opened.end());

    const isNear = (one: number, other: number) =>
      Math.abs(one - other) <= other * relativeError + 1;
    const expectCourse = (found: readonly Observation[], expected: readonly Observation[]) => {
      expect(found).toHaveLength(expected.length);
      for (const [place, { at, outcome, tookUs, trouble, facts }] of expected.entries()) {
        const one = found[place]!;
        if (outcome === 'failed') expect(one).toEqual(expected[place]);
        expect(one).toMatchObject({ at, outcome });
        expect(one.facts).toEqual(facts);
        expect(one.trouble?.reason).toBe(trouble?.reason);
        expect(isNear(one.tookUs, tookUs)).toBe(true);
      }
    };
    const seal = () => record.upkeep.seal(midnight + 2 * day + 3 * hour);

    test('are read as before, in whole and in part, also after a restart', async () => {
      await seal();
      expectCourse(await record.observations('shop', always), course);
      const again = await opened.reopen();
      expectCourse(await again.observations('shop', always), course);
      const range = { from: midnight + 20 * hour, to: midnight + 2 * day + hour };
      const within = course.filter(({ at }) => at >= range.from && at < range.to);
      expectCourse(await again.observations('shop', range), within);
      expectCourse(await again.observations('shop', range, 40), within.slice(-40));
      expect(await again.observations('shop', range, 0)).toEqual([]);
      expect(await again.observations('nas', always)).toEqual([]);
    });

    test.each([
      ['before they are sealed', async () => undefined],
      ['when they are sealed', seal],
    ])('come by steps: counts exact, latencies about, %s', async (_, first) => {
      await first();
      for (const stepMs of [hour, 7 * hour, day, 3 * day]) {
        for (const from of [midnight, midnight - 5 * hour + 1]) {
          const range = { from, to: midnight + 2 * day + 90 * minute };
          const steps = await record.steps('shop', range, stepMs);
          const within = course.filter(({ at }) => at >= range.from && at < range.to);
          const expected = stepsOf({ observations: within, ...range, stepMs });
          expect(steps).toHaveLength(expected.length);
          for (const [place, { p50Us, p95Us, p99Us, ...counts }] of expected.entries()) {
            const step = steps[place]!;
            expect(step).toMatchObject(counts);
            expect(step.p50Us === null).toBe(p50Us === null);
            expect(isNear(step.p50Us ?? 0, p50Us ?? 0)).toBe(true);
            expect(isNear(step.p95Us ?? 0, p95Us ?? 0)).toBe(true);
            expect(isNear(step.p99Us ?? 0, p99Us ?? 0)).toBe(true);
          }
        }
      }
    });

    test.each([
      ['before they are sealed', async () => undefined],
      ['when they are sealed', seal],
    ])('tell how long answers took, and each phase of them, %s', async (_, first) => {
      await first();
      const range = { from: midnight + day, to: midnight + 2 * day };
      const within = course.filter(({ at }) => at >= range.from && at < range.to);
      const served = within.filter(({ outcome }) => outcome !== 'failed');
      const countOf = (outcome: string) => within.filter((one) => one.outcome === outcome).length;
      expect(await record.latencies('shop', range)).toEqual({
        counts: {
          answered: countOf('answered'),
          limited: countOf('limited'),
          failed: countOf('failed'),
          unproven: 0,
        },
        tookUs: sketchOf(served.map(({ tookUs }) => tookUs)),
        phases: {
          connectUs: sketchOf(served.map(({ phases }) => phases.connectUs ?? -1)),
          answerUs: sketchOf(served.map(({ phases }) => phases.answerUs ?? -1)),
        },
      });
    });

    test('take in what comes late, and what comes twice at one instant, in the order in which it came', async () => {
      await seal();
      const late = [
        failed(midnight + hour + 1, { tookUs: 1 }),
        failed(course[0]!.at, { tookUs: 2 }),
        failed(course[0]!.at, { tookUs: 3 }),
      ];
      const expected = [...course, ...late].sort((one, other) => one.at - other.at);
      for (const observation of late) await record.observe({ serviceId: 'shop', observation });
      expectCourse(await record.observations('shop', always), expected);
      await seal();
      expectCourse(await record.observations('shop', always), expected);
      expect((await record.remembered('shop')).last).toEqual(late.at(-1));
      const again = await opened.reopen();
      expectCourse(await again.observations('shop', always), expected);
      expect((await again.remembered('shop')).last).toEqual(late.at(-1));
    });

    test('may be forgotten; what the state was stays known', async () => {
      await record.commit(
        changes({
          spans: [
            {
              serviceId: 'shop',
              edits: [{ state: 'up', from: midnight, earliestFrom: midnight - second }],
            },
          ],
        }),
      );
      await seal();
      await record.upkeep.prune(midnight + day);
      const range = { from: midnight + day, to: midnight + 3 * day };
      const left = course.filter(({ at }) => at >= range.from);
      expectCourse(await record.observations('shop', range), left);
      expect(await record.spans('shop', always)).toHaveLength(1);
      expect((await record.remembered('shop')).last).toMatchObject({ at: course.at(-1)!.at });
    });
  });
}
