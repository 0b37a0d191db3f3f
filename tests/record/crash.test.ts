/** Killed without warning: what was committed is there, whole, and the folder is free again. */
import { type ChildProcessByStdio, spawn } from 'node:child_process';
import { randomUUID } from 'node:crypto';
import { once } from 'node:events';
import { join } from 'node:path';
import { createInterface } from 'node:readline';
import type { Readable } from 'node:stream';
import { fileURLToPath } from 'node:url';
import Database from 'better-sqlite3';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { silentLog } from '../../src/base/log.ts';
import { openRecord } from '../../src/record/sqlite/open.ts';
import { simulatedClock } from '../support/clock-simulated.ts';
import { changeSetNumber, routineCount, serviceId } from './support/change-sets.ts';
import { temporaryFolder } from './support/sqlite.ts';
import { always, pulse, t0 } from './support/values.ts';

type Child = ChildProcessByStdio<null, Readable, Readable>;

const script = fileURLToPath(new URL('./support/commit-until-killed.ts', import.meta.url));
const loader = new URL('../support/typescript.mjs', import.meta.url).href;

let root: ReturnType<typeof temporaryFolder>;
let child: Child | null = null;
beforeEach(() => {
  root = temporaryFolder();
});
afterEach(async () => {
  await kill();
  root.end();
});

function start(first: number): Child {
  const args = ['--import', loader, script, root.folder, String(first)];
  child = spawn(process.execPath, args, { stdio: ['ignore', 'pipe', 'pipe'] });
  return child;
}

async function kill(): Promise<void> {
  if (!child || child.exitCode !== null || child.signalCode !== null) return;
  const closed = once(child, 'close');
  child.kill('SIGKILL');
  await closed;
}

const open = () =>
  openRecord({
    folder: root.folder,
    clock: simulatedClock({ wallMs: t0 }),
    log: silentLog,
    newId: randomUUID,
    pulse: () => pulse(t0),
  });

/** Lets it commit until it has reported `count`, kills it at once, and gives the last number that it reported. */
async function killedAfter(count: number, first: number): Promise<number> {
  const { stdout, stderr } = start(first);
  let complaint = '';
  stderr.on('data', (chunk) => {
    complaint += String(chunk);
  });
  let last = first - 1;
  let killed: Promise<void> | null = null;
  for await (const line of createInterface({ input: stdout })) {
    if (/^\d+$/.test(line)) last = Number(line);
    if (last - first + 1 >= count) killed ??= kill();
  }
  await killed;
  expect(complaint).toBe('');
  expect(child?.signalCode).toBe('SIGKILL');
  return last;
}

test('after kill -9 amid writing, every change set that was committed is there and none by half', async () => {
  let next = 0;
  for (const count of [1, 7, 40]) {
    const last = await killedAfter(count, next);
    expect(last).toBeGreaterThanOrEqual(next + count - 1);

    const record = await open();
    const outages = await record.outages(null, always);
    const written = outages.length;
    // One more may have been written than its process lived to tell.
    expect([last + 1, last + 2]).toContain(written);
    expect(await record.lastPulse()).not.toBeNull();
    await record.close(pulse(t0));
    next = written;
  }

  const record = await open();
  const numbers = Array.from({ length: next }, (_, number) => changeSetNumber(number));
  expect(await record.outages(null, always)).toEqual(
    numbers.flatMap(({ set }) => set.outages).reverse(),
  );
  const observations = await record.observations(serviceId, always);
  expect(observations).toEqual(
    numbers
      .flatMap(({ routine, set }) => [...routine, ...set.observations])
      .map(({ observation }) => observation),
  );
  expect(observations).toHaveLength(next * (routineCount + 1));
  expect(await record.spans(serviceId, always)).toHaveLength(2 * next);
  expect(await record.unconfirmed(serviceId, always)).toHaveLength(next);
  expect((await record.remembered(serviceId)).memory).toEqual(
    numbers.at(-1)?.set.memories[0]?.memory,
  );
  for (const { set } of numbers) {
    const ids = (await record.deliveriesOf(set.outages[0]!.id)).map((one) => one.notice.id);
    expect(ids).toEqual(set.notices.map((edit) => 'notice' in edit && edit.notice.id));
  }
  await record.close(pulse(t0));

  const database = new Database(join(root.folder, 'rollcall.db'));
  expect(database.pragma('integrity_check', { simple: true })).toBe('ok');
  expect(database.pragma('foreign_key_check')).toEqual([]);
  database.close();
}, 60_000);

test('a folder is held against other processes, and free when its holder was killed', async () => {
  const { stdout } = start(0);
  await once(stdout, 'data');
  await expect(open()).rejects.toMatchObject({ code: 'data-folder-busy' });
  await kill();
  const record = await open();

  const second = start(0);
  const said: string[] = [];
  second.stderr.on('data', (chunk) => said.push(String(chunk)));
  const [code] = await once(second, 'close');
  expect(code).toBe(3);
  expect(said.join('')).toContain('Another Rollcall daemon uses the data folder');
  await record.close(pulse(t0));
}, 60_000);
