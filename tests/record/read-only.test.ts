/** The record read by a command while no daemon runs: what it says, and that nothing is changed by looking. */
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import Database from 'better-sqlite3';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { readMigrations } from '../../src/record/sqlite/migrate.ts';
import { readRecord } from '../../src/record/sqlite/read-only.ts';
import { type OpenedSqlite, openSqlite, temporaryFolder } from './support/sqlite.ts';
import { pulse, t0 } from './support/values.ts';

let opened: OpenedSqlite;
beforeEach(async () => {
  opened = await openSqlite();
  await opened.record.commit({
    observations: [],
    memories: [],
    spans: [
      {
        serviceId: 'order-book',
        edits: [
          { state: 'up', from: t0, earliestFrom: t0 },
          { state: 'down', from: t0 + 60_000, earliestFrom: t0 + 30_000 },
        ],
      },
    ],
    outages: [
      {
        id: 'order-book.1',
        serviceId: 'order-book',
        lastGoodAt: t0 + 30_000,
        firstFailedAt: t0 + 60_000,
        confirmedAt: t0 + 65_000,
        lastFailedAt: t0 + 65_000,
        restoredAt: null,
        trouble: { layer: 'port', reason: 'refused', detail: 'refused', hint: 'look' },
        causeId: null,
      },
    ],
    unconfirmed: [
      {
        serviceId: 'order-book',
        lastGoodAt: t0,
        firstFailedAt: t0 + 10_000,
        lastFailedAt: t0 + 10_000,
        nextGoodAt: t0 + 15_000,
      },
    ],
    notices: [],
  });
});
afterEach(() => opened.end());

const all = { from: 0, to: t0 + 3_600_000 };

test('it says the same as the daemon would, with its last sign of life', async () => {
  await opened.record.flush(pulse(t0 + 70_000));
  const read = readRecord(opened.folder);
  expect(await read?.spans('order-book', all)).toEqual(
    await opened.record.spans('order-book', all),
  );
  expect(await read?.outages('order-book', all)).toHaveLength(1);
  expect(await read?.unconfirmed('order-book', all)).toHaveLength(1);
  expect(await read?.spans('never-heard-of', all)).toEqual([]);
  expect(await read?.lastPulse()).toEqual(pulse(t0 + 70_000));
  read?.close();
});

test('looking changes nothing, and keeps no daemon from starting', async () => {
  await opened.record.close(pulse(t0));
  const before = readFileSync(opened.path);
  const read = readRecord(opened.folder);
  await read?.outages(null, all);
  expect(readFileSync(opened.path).equals(before)).toBe(true);
  const again = await opened.reopen();
  expect(await again.spans('order-book', all)).toHaveLength(2);
  read?.close();
});

test('where there is no record there is none, and none is made', () => {
  const { folder, end } = temporaryFolder();
  expect(readRecord(folder)).toBeNull();
  mkdirSync(join(folder, 'data'));
  expect(readRecord(join(folder, 'data'))).toBeNull();
  end();
});

test.each([
  [1, 'record-newer', 'later version'],
  [-1, 'data-folder-unusable', 'brings it up to date when it starts'],
])('a record of another shape is refused with what to do', (more, code, text) => {
  const database = new Database(opened.path);
  database.pragma(`user_version = ${readMigrations().length + more}`);
  database.close();
  expect(() => readRecord(opened.folder)).toThrow(
    expect.objectContaining({ code, message: expect.stringContaining(text) }),
  );
});

test('a file that is no record is refused with its folder', () => {
  const { folder, end } = temporaryFolder();
  writeFileSync(join(folder, 'rollcall.db'), 'x'.repeat(10_000));
  expect(() => readRecord(folder)).toThrow(
    expect.objectContaining({
      code: 'data-folder-unusable',
      message: expect.stringContaining(folder),
    }),
  );
  end();
});
