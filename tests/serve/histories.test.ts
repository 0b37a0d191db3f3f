/** Histories are read again only where the record may say something else, and are what it says at any instant. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { outageId } from '../../src/base/ids.ts';
import type { Outage } from '../../src/base/values.ts';
import { readHistory } from '../../src/record/history.ts';
import { keptHistories } from '../../src/serve/histories.ts';
import { availabilityOf } from '../../src/uptime/availability.ts';
import { memoryRecord } from '../support/record-memory.ts';
import { nothing, refused } from './scene.ts';

const dayMs = 24 * 3_600_000;
const begun = Date.parse('2026-09-01T00:00:00.000Z');
const windowAt = (now: number) => ({ from: now - 30 * dayMs, to: now });

function scene() {
  const record = memoryRecord();
  let readCount = 0;
  const { spans } = record;
  record.spans = (...asked) => {
    readCount++;
    return spans(...asked);
  };
  const histories = keptHistories(record);
  return {
    record,
    reads: () => readCount,
    kept: (now: number, open: Outage | null) =>
      histories('a', { window: windowAt(now), open }).then(availabilityOf),
    anew: (now: number, open: Outage | null) =>
      readHistory(
        { ...record, spans },
        { serviceId: 'a', window: windowAt(now), now, open, watchedUntil: null },
      ).then(availabilityOf),
    goes: (state: 'up' | 'down', at: number, outage?: Outage) =>
      record.commit({
        ...nothing,
        spans: [{ serviceId: 'a', edits: [{ state, from: at, earliestFrom: at }] }],
        outages: outage ? [outage] : [],
      }),
  };
}

function outageAt(at: number): Outage {
  return {
    id: outageId('a', at),
    serviceId: 'a',
    lastGoodAt: at - 30_000,
    firstFailedAt: at,
    confirmedAt: at + 5_000,
    lastFailedAt: at + 5_000,
    restoredAt: null,
    trouble: refused,
    causeId: null,
  };
}

const moves = fc.array(
  fc.record({
    kind: fc.constantFrom('turn', 'fail', 'ask', 'back'),
    ms: fc.oneof(fc.nat(2 * 3_600_000), fc.nat(9 * dayMs)),
  }),
  { maxLength: 40 },
);

test('over outages, waits and a clock that is set back the figures are those of the record', async () => {
  await fc.assert(
    fc.asyncProperty(moves, async (all) => {
      const { kept, anew, goes } = scene();
      let now = begun;
      let latest = begun;
      const course: { open: Outage | null } = { open: null };
      await goes('up', now);
      for (const { kind, ms } of all) {
        now += kind === 'back' ? -ms : ms + 1;
        const { open } = course;
        if (kind === 'fail' && open) {
          course.open = { ...open, lastFailedAt: Math.max(latest, now) };
        } else if (kind === 'turn' && now > latest) {
          course.open = open ? null : outageAt(now);
          const ended = open ? { ...open, restoredAt: now } : undefined;
          await goes(open ? 'up' : 'down', now, course.open ?? ended);
        }
        latest = Math.max(latest, now);
        expect(await kept(now, course.open)).toEqual(await anew(now, course.open));
      }
    }),
    { numRuns: 200 },
  );
});

test('a clock that is set back asks for what was left out before', async () => {
  const { kept, anew, goes } = scene();
  await goes('up', begun);
  const outage = outageAt(begun + 5 * dayMs);
  await goes('down', outage.firstFailedAt, outage);
  const restoredAt = begun + 6 * dayMs;
  await goes('up', restoredAt, { ...outage, restoredAt });
  expect((await kept(begun + 40 * dayMs, null)).outages).toBe(0);
  const before = begun + 30 * dayMs;
  expect((await kept(before, null)).outages).toBe(1);
  expect(await kept(before, null)).toEqual(await anew(before, null));
});

test('while nothing changes it is read once', async () => {
  const { kept, goes, reads } = scene();
  await goes('up', begun);
  for (let day = 31; day < 90; day++) await kept(begun + day * dayMs, null);
  expect(reads()).toBe(1);
  await goes('down', begun + 90 * dayMs, outageAt(begun + 90 * dayMs));
  await kept(begun + 91 * dayMs, null);
  expect(reads()).toBe(2);
});

test('what changes while it is read is read again', async () => {
  const { kept, anew, goes, record } = scene();
  await goes('up', begun);
  const now = begun + 40 * dayMs;
  const { outages } = record;
  record.outages = async (...asked) => {
    const found = await outages(...asked);
    record.outages = outages;
    await goes('down', now - dayMs, outageAt(now - dayMs));
    return found;
  };
  await kept(now, null);
  expect(await kept(now, null)).toEqual(await anew(now, null));
});

test('a reading that failed is not kept', async () => {
  const { kept, goes, record } = scene();
  await goes('up', begun);
  const { outages } = record;
  record.outages = async () => {
    throw new Error('the disk is gone');
  };
  await expect(kept(begun + dayMs, null)).rejects.toThrow('the disk is gone');
  record.outages = outages;
  expect((await kept(begun + dayMs, null)).estimate).toBe(1);
});
