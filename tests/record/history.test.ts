/** What is read of the record for a window: enough to decide its edges, and outages whole. */
import { expect, test } from 'vitest';
import type { Outage, UnconfirmedFailure } from '../../src/base/values.ts';
import type { SpanEdit } from '../../src/judge/memory.ts';
import { readHistory } from '../../src/record/history.ts';
import { availabilityOf } from '../../src/uptime/availability.ts';
import { evidenceOf } from '../../src/uptime/evidence.ts';
import { coursesOf } from '../../src/uptime/outages.ts';
import { memoryRecord } from '../support/record-memory.ts';

const dayMs = 86_400_000;
const day = (days: number) => Math.round(days * dayMs);

interface Given {
  readonly spans: readonly SpanEdit[];
  readonly outages?: readonly Partial<Outage>[];
  readonly unconfirmed?: readonly Partial<UnconfirmedFailure>[];
}

async function recordOf({ spans, outages = [], unconfirmed = [] }: Given) {
  const record = memoryRecord();
  await record.commit({
    observations: [],
    memories: [],
    spans: [{ serviceId: 'a', edits: spans }],
    outages: outages.map((outage, nth) => ({
      id: `a.${nth}`,
      serviceId: 'a',
      lastGoodAt: null,
      firstFailedAt: 0,
      confirmedAt: 0,
      lastFailedAt: 0,
      restoredAt: null,
      trouble: { layer: 'port', reason: 'refused', detail: 'refused', hint: 'look' },
      causeId: null,
      ...outage,
    })),
    unconfirmed: unconfirmed.map((failure) => ({
      serviceId: 'a',
      lastGoodAt: null,
      firstFailedAt: 0,
      lastFailedAt: 0,
      nextGoodAt: 0,
      ...failure,
    })),
    notices: [],
  });
  return record;
}

const asked = (from: number, to: number, now: number) => ({
  serviceId: 'a',
  window: { from: day(from), to: day(to) },
  now: day(now),
  open: null,
  watchedUntil: null,
});

const up = (from: number, lastOther = from): SpanEdit => ({
  state: 'up',
  from: day(from),
  earliestFrom: day(lastOther),
});
const down = (from: number, lastGood = from): SpanEdit => ({
  ...up(from, lastGood),
  state: 'down',
});

test('a service that is asked once a week: a failure seen six days after the window may have begun within it', async () => {
  const record = await recordOf({
    spans: [up(0), down(36, 29)],
    outages: [{ lastGoodAt: day(29), firstFailedAt: day(36), lastFailedAt: day(36) }],
  });
  const history = await readHistory(record, asked(0, 30, 40));
  const { estimate, low, high } = availabilityOf(history);
  // It began between day 29 and day 36: the middle lies behind the window, the earliest in it.
  expect([low, estimate, high]).toEqual([29 / 30, 1, 1]);
});

test('an unconfirmed failure that was seen after the window is in doubt from its last good answer on', async () => {
  const record = await recordOf({
    spans: [up(0)],
    unconfirmed: [
      { lastGoodAt: day(29), firstFailedAt: day(36), lastFailedAt: day(36), nextGoodAt: day(37) },
    ],
  });
  const history = await readHistory(record, asked(0, 30, 40));
  expect(availabilityOf(history)).toMatchObject({ low: 29 / 30, estimate: 1, unconfirmed: 0 });
});

test('an outage that began long before the window is read whole, over time in which nobody looked', async () => {
  const record = await recordOf({
    spans: [
      up(0),
      down(10, 9),
      { state: 'unobserved', from: day(20), earliestFrom: day(20) },
      down(100),
      up(120, 118),
    ],
    outages: [{ firstFailedAt: day(10), lastFailedAt: day(118), restoredAt: day(120) }],
  });
  const history = await readHistory(record, asked(110, 140, 150));
  const [course] = coursesOf(evidenceOf(history));
  // From the middle of days 9 and 10 to day 20, and from day 100 to the middle of days 118 and 120.
  expect(course?.lengthMs).toBe(day(10.5 + 19));
  expect(course?.begins).toEqual({ earliest: day(9), middle: day(9.5), latest: day(10) });
  expect(availabilityOf(history).mttrMs).toBe(day(29.5));
});

test('the open outage is the one that the judge holds', async () => {
  const outage = { firstFailedAt: day(10), lastFailedAt: day(10) };
  const record = await recordOf({ spans: [up(0), down(10)], outages: [outage] });
  const [written] = await record.outages('a', { from: 0, to: day(20) });
  const open = { ...written!, lastFailedAt: day(19) };
  const history = await readHistory(record, { ...asked(0, 20, 20), open });
  expect(history.outages).toEqual([open]);
  expect(availabilityOf(history).high).toBe(11 / 20);
});

test('where nobody has watched since, what lasted then is not known to last', async () => {
  const record = await recordOf({
    spans: [up(0), down(10)],
    outages: [{ firstFailedAt: day(10), lastFailedAt: day(10) }],
  });
  const left = { ...asked(0, 20, 20), watchedUntil: day(12) };
  const figures = availabilityOf(await readHistory(record, left));
  expect(figures).toMatchObject({ downMs: day(2), unobservedMs: day(8), high: 10 / 12 });
  expect(figures.longest).toMatchObject({ lengthMs: day(2), open: true });
});

test('a watch that ended before the last span began leaves nothing of that span', async () => {
  const record = await recordOf({ spans: [up(0), down(10)] });
  const left = { ...asked(0, 20, 20), watchedUntil: day(9) };
  expect(availabilityOf(await readHistory(record, left))).toMatchObject({
    upMs: day(10),
    downMs: 0,
    unobservedMs: day(10),
  });
});

test('of a service that the record has never heard of all is unobserved', async () => {
  const history = await readHistory(memoryRecord(), asked(0, 1, 1));
  expect(availabilityOf(history)).toMatchObject({ estimate: null, unobservedMs: dayMs });
});

test('planned time of the service counts for nothing, and that of others does not matter', async () => {
  const record = await recordOf({
    spans: [up(0), down(10), up(11)],
    outages: [{ firstFailedAt: day(10), lastFailedAt: day(11) - 1, restoredAt: day(11) }],
  });
  const window = (id: string, from: number, to: number, serviceIds: readonly string[] | null) =>
    ({
      id,
      name: id,
      why: null,
      from: day(from),
      to: day(to),
      serviceIds,
      origin: 'once',
    }) as const;
  const none = {
    observations: [],
    memories: [],
    spans: [],
    outages: [],
    unconfirmed: [],
    notices: [],
  };
  await record.commit({ ...none, planned: [window('other', 10, 11, ['b'])] });
  const before = availabilityOf(await readHistory(record, asked(0, 20, 20)));
  expect(before).toMatchObject({ estimate: 19 / 20, plannedMs: 0, outages: 1 });
  await record.commit({ ...none, planned: [window('own', 10, 10.5, ['a'])] });
  const half = availabilityOf(await readHistory(record, asked(0, 20, 20)));
  // It outlived its window: half a day of it is an outage.
  expect(half).toMatchObject({
    estimate: 19 / 19.5,
    plannedMs: day(0.5),
    downMs: day(0.5),
    outages: 1,
  });
  expect(half.mttrMs).toBe(day(0.5));
  await record.commit({ ...none, planned: [window('all', 10.25, 12, null)] });
  const whole = availabilityOf(await readHistory(record, asked(0, 20, 20)));
  expect(whole).toMatchObject({
    estimate: 1,
    plannedMs: day(2),
    downMs: 0,
    outages: 0,
    mttrMs: null,
  });
});
