/** Charts: steps that are over are read once, and what is shown is the same as if all had been read anew. */
import { expect, test } from 'vitest';
import type { Observation } from '../../src/base/values.ts';
import { chartOf, chartRange, chartsFrom } from '../../src/serve/charts.ts';
import { memoryRecord } from '../support/record-memory.ts';

const minuteMs = 60_000;
const hourMs = 60 * minuteMs;
const dayMs = 24 * hourMs;
const now = Date.parse('2026-11-25T09:42:10.000Z');

function answer(at: number, tookUs = 5_000): Observation {
  return { at, outcome: 'answered', tookUs, phases: {}, trouble: null, facts: {} };
}

async function counted() {
  const record = memoryRecord();
  for (let at = now - dayMs; at <= now; at += minuteMs) {
    await record.observe({ serviceId: 'a', observation: answer(at) });
  }
  const read: number[] = [];
  const { steps } = record;
  record.steps = (serviceId, range, stepMs) => {
    read.push(Math.ceil((range.to - range.from) / stepMs));
    return steps(serviceId, range, stepMs);
  };
  return { record, charts: chartsFrom({ record }), read };
}

test('a day is whole steps that end with the one that is under way', () => {
  const { from, to, stepMs } = chartRange('day', now);
  expect([from, to].map((at) => new Date(at).toISOString())).toEqual([
    '2026-11-24T09:50:00.000Z',
    '2026-11-25T09:50:00.000Z',
  ]);
  expect(stepMs).toBe(10 * minuteMs);
});

test('what is over is read once; the rest again, until it is over too', async () => {
  const { record, charts, read } = await counted();
  await charts.of('a', 'day', now);
  await record.observe({ serviceId: 'a', observation: answer(now + minuteMs, 90_000) });
  const later = now + 15 * minuteMs;
  const again = await charts.of('a', 'day', later);
  expect(read).toEqual([144, 2]);
  expect(again.steps).toEqual((await chartsFrom({ record }).of('a', 'day', later)).steps);
  expect(again.steps).toHaveLength(144);
});

test('an answer that is recorded late is still counted in the step in which it was asked', async () => {
  const { record, charts } = await counted();
  const boundary = Date.parse('2026-11-25T09:50:00.000Z');
  await charts.of('a', 'day', boundary + 30_000);
  await record.observe({ serviceId: 'a', observation: answer(boundary - 1_000) });
  const later = boundary + 3 * minuteMs;
  const chart = await charts.of('a', 'day', later);
  expect(chart.steps).toEqual((await chartsFrom({ record }).of('a', 'day', later)).steps);
});

test('a clock that is set back is believed', async () => {
  const { charts, record, read } = await counted();
  await charts.of('a', 'day', now);
  const before = now - 3 * hourMs;
  const chart = await charts.of('a', 'day', before);
  expect(read).toEqual([144, 144]);
  expect(chart.steps).toEqual((await chartsFrom({ record }).of('a', 'day', before)).steps);
});

test('after a day without anybody asking, all is read again', async () => {
  const { charts, read } = await counted();
  await charts.of('a', 'day', now);
  await charts.of('a', 'day', now + 2 * dayMs);
  expect(read).toEqual([144, 144]);
});

test('a year is read in pieces, so that others have their turn', async () => {
  const { charts, read } = await counted();
  const { steps } = await charts.of('a', 'year', now);
  expect(read).toEqual([...Array.from({ length: 11 }, () => 31), 24]);
  expect(steps).toHaveLength(365);
  expect(steps.map(({ at }) => at)).toEqual(
    steps.map((_, index) => (steps[0]?.at ?? 0) + index * dayMs),
  );
});

test.each([
  [10 * minuteMs, 0, 10_000],
  [50 * minuteMs, 60_000, 60_000],
  [5 * hourMs, 0, 2 * minuteMs],
  [400 * dayMs, 0, 7 * dayMs],
  [20_000 * dayMs, 0, 30 * dayMs],
])(
  'a stretch of %i ms, asked every %i ms, has steps of %i ms',
  async (lengthMs, stepMsMin, stepMs) => {
    const { record } = await counted();
    const chart = await chartOf(record, 'a', { from: now - lengthMs, to: now, stepMsMin, now });
    expect(chart.stepMs).toBe(stepMs);
    expect(chart.from % stepMs).toBe(0);
    expect(chart.from).toBeLessThanOrEqual(now - lengthMs);
    expect(chart.to).toBeGreaterThanOrEqual(now);
  },
);
