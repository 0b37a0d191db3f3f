/** What is wrong with Rollcall itself is told: once, and also while the record is what is wrong. */
import { afterEach, beforeEach, expect, test } from 'vitest';
import { silentLog } from '../src/base/log.ts';
import type { RecordHealth } from '../src/record/record.ts';
import { tellSelfTroubles } from '../src/self-troubles.ts';
import { openEngine, temporaryFolder } from './record/support/sqlite.ts';
import { pulse, t0 } from './record/support/values.ts';
import { simulatedClock } from './support/clock-simulated.ts';

let root: ReturnType<typeof temporaryFolder>;
let engine: ReturnType<typeof openEngine>;
let clock: ReturnType<typeof simulatedClock>;
let telling: { stop(): void };
let chores: { about: string; summary: string }[];
let damage: string | null;
let woken: number;

beforeEach(() => {
  root = temporaryFolder();
  engine = openEngine(root.folder);
  clock = simulatedClock({ wallMs: t0 });
  chores = [];
  damage = null;
  woken = 0;
  telling = begin();
});
afterEach(async () => {
  telling.stop();
  await engine.record.close(pulse(t0));
  root.end();
});

let count = 0;
function begin() {
  const { record } = engine;
  return tellSelfTroubles({
    clock,
    record: { ...record, health: (): RecordHealth => ({ ...record.health(), damage }) },
    log: silentLog,
    chores: () => chores,
    channels: () => ['phone', 'chat'],
    newId: () => `notice-${++count}`,
    wake: () => void woken++,
  });
}

async function told(): Promise<unknown[]> {
  const due = await engine.record.dueDeliveries(clock.wallMs(), 100);
  return due.map(({ channel, notice }) => `${channel}: ${notice.data.summary}`);
}

test('nothing is said while nothing is wrong', async () => {
  await clock.advance(3_600_000);
  expect(await told()).toEqual([]);
  expect(woken).toBe(0);
});

test('a record that cannot be written is told after a minute, once, though nothing can be written', async () => {
  engine.database.pragma('query_only = ON');
  await engine.record.flush(pulse(t0));
  await clock.advance(60_000);
  expect(await told()).toEqual([]);
  await clock.advance(10_000);
  const text = expect.stringMatching(/^phone: Rollcall cannot write its record: .*read-only/);
  expect(await told()).toEqual([text, expect.stringContaining('chat: ')]);
  await clock.advance(3_600_000);
  expect(await told()).toHaveLength(2);
  expect(woken).toBe(1);
  const [first] = await engine.record.dueDeliveries(clock.wallMs(), 1);
  expect(first?.notice).toMatchObject({
    type: 'rollcall.self.trouble',
    serviceId: null,
    outageId: null,
    data: { about: 'record' },
  });
});

test('one that is soon written again is nothing to tell; one that fails again later is', async () => {
  for (const lastsMs of [50_000, 50_000, 80_000]) {
    engine.database.pragma('query_only = ON');
    await engine.record.flush(pulse(t0));
    await clock.advance(lastsMs);
    engine.database.pragma('query_only = OFF');
    await engine.record.flush(pulse(t0));
    await clock.advance(10_000);
  }
  expect(await told()).toHaveLength(2);
});

test('damage is told once, over restarts, and other damage again', async () => {
  damage = 'The file was damaged.';
  await clock.advance(60_000);
  telling.stop();
  telling = begin();
  await clock.advance(60_000);
  expect(await told()).toEqual(['phone: The file was damaged.', 'chat: The file was damaged.']);
  damage = 'It was damaged again.';
  await clock.advance(60_000);
  expect(await told()).toHaveLength(4);
});

test('a chore that fails is told once until it was done', async () => {
  chores = [{ about: 'backup', summary: 'The record was not backed up: the disk is full.' }];
  await clock.advance(3_600_000);
  expect(await told()).toHaveLength(2);
  chores = [];
  await clock.advance(60_000);
  chores = [{ about: 'backup', summary: 'The record was not backed up: no folder.' }];
  await clock.advance(60_000);
  expect(await told()).toHaveLength(4);
});
