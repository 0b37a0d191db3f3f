/** The files in which reports wait for a daemon: what is none of them is put away, and holds nothing up. */
import { execFileSync } from 'node:child_process';
import { mkdirSync, mkdtempSync, readdirSync, rmSync, utimesSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { realClock } from '../src/base/clock-real.ts';
import { silentLog } from '../src/base/log.ts';
import { houseJobs } from '../src/house-jobs.ts';
import { jobOf } from './serve/jobs-scene.ts';
import { type MemoryRecord, memoryRecord } from './support/record-memory.ts';

const id = 'nightly-backup';
const always = { from: 0, to: Number.MAX_SAFE_INTEGER };

let folder: string;
let at: string;
let record: MemoryRecord;
let jobs: ReturnType<typeof houseJobs>;
beforeEach(async () => {
  folder = mkdtempSync(join(tmpdir(), 'rollcall-spool-'));
  at = join(folder, 'spool');
  record = memoryRecord();
  jobs = houseJobs({
    ...{ clock: realClock(), record, log: silentLog, folder, look: () => {} },
    jobs: [jobOf('Nightly backup', id)],
    mask: (text) => text,
  });
  await jobs.jobs.recall();
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

const runs = () => record.runs(id, always, 100);
const stored = () => readdirSync(at).toSorted();
const store = (name: string, report: object) =>
  writeFileSync(
    join(at, name),
    JSON.stringify({ jobId: id, runId: 'r', beganAt: 1_000, ...report }),
  );

test('without a folder there is nothing to take in', async () => {
  await jobs.spool.look();
  expect(await runs()).toEqual([]);
});

test('a report that is whole is taken in; also one from before there were numbers in it, and one with a strange number', async () => {
  mkdirSync(at);
  const ended = { at: 5_000, exit: 0, sizeBytes: 3, output: 'b2sK' };
  store('a.json', { runId: 'old', ended });
  store('b.json', { runId: 'new', ended: { ...ended, value: 12, unit: 'slips' } });
  store('c.json', { runId: 'strange', ended: { ...ended, value: 'many', unit: 'slips' } });
  store('d.json', { runId: 'marked', ended: { ...ended, value: 12, unit: '\u202eslips' } });
  await jobs.spool.look();
  expect(stored()).toEqual([]);
  const told = (await runs()).map((run) => [run.id, run.value, run.unit, run.tail]);
  expect(told.toSorted()).toEqual([
    ['marked', 12, null, 'ok'],
    ['new', 12, 'slips', 'ok'],
    ['old', null, null, 'ok'],
    ['strange', null, null, 'ok'],
  ]);
});

test('what was cut off while it was written is dropped, and what is no file is left alone', async () => {
  mkdirSync(join(at, 'folder.json'), { recursive: true });
  // Reading this one would never end.
  execFileSync('mkfifo', [join(at, 'pipe.json')]);
  for (const name of ['old.part', 'new.part']) writeFileSync(join(at, name), '{');
  utimesSync(join(at, 'old.part'), 1_000, 1_000);
  await jobs.spool.look();
  expect(stored()).toEqual(['folder.json', 'new.part', 'pipe.json']);
});

test('a report that is none is put away', async () => {
  mkdirSync(at);
  for (const [name, text] of [
    ['a.json', '{'],
    ['b.json', '{"jobId":"nightly-backup","runId":"r","beganAt":-1,"ended":null}'],
    ['c.json', '{"jobId":"nobody","runId":"r","beganAt":1,"ended":null}'],
    ['d.json', 'x'.repeat(100_000)],
    ['e.json.part', '{"jobId":"nightly-backup","runId":"r","beganAt":1,"ended":null}'],
  ] as const) {
    writeFileSync(join(at, name), text);
  }
  await jobs.spool.look();
  expect(stored()).toEqual(['e.json.part']);
  expect(await runs()).toEqual([]);
});

test('a report waits on while the record cannot be written, and is one report', async () => {
  mkdirSync(at);
  store('a.json', { ended: { at: 5_000, exit: 0, sizeBytes: 0, output: '' } });
  record.breakWrites('the disk is full');
  await jobs.spool.look();
  expect(stored()).toEqual(['a.json']);
  record.breakWrites(null);
  await jobs.spool.look();
  await jobs.spool.look();
  expect(stored()).toEqual([]);
  expect(await runs()).toHaveLength(1);
});
