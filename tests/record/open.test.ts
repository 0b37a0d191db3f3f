/** Opening a record: the folder, the lock, the shape of the database. */
import { randomUUID } from 'node:crypto';
import { existsSync, mkdirSync, readdirSync, readFileSync, statSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import Database from 'better-sqlite3';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { silentLog } from '../../src/base/log.ts';
import { readMigrations } from '../../src/record/sqlite/migrate.ts';
import { openRecord } from '../../src/record/sqlite/open.ts';
import { simulatedClock } from '../support/clock-simulated.ts';
import { openEngine, temporaryFolder } from './support/sqlite.ts';
import { pulse, t0 } from './support/values.ts';

let root: ReturnType<typeof temporaryFolder>;
let folder: string;
beforeEach(() => {
  root = temporaryFolder();
  folder = join(root.folder, 'var', 'data');
});
afterEach(() => root.end());

const open = () =>
  openRecord({
    folder,
    clock: simulatedClock({ wallMs: t0 }),
    log: silentLog,
    newId: randomUUID,
    pulse: () => pulse(t0),
    upkeep: 'inline',
  });

function modeOf(path: string): string {
  return (statSync(path).mode & 0o777).toString(8);
}

test('a new folder and what is in it are for this user alone', async () => {
  const record = await open();
  expect(modeOf(folder)).toBe('700');
  for (const name of ['rollcall.db', 'rollcall.db-wal', 'rollcall.db-shm', 'lock.db']) {
    expect(`${name} ${modeOf(join(folder, name))}`).toBe(`${name} 600`);
  }
  await record.close(pulse(t0));
});

test('a second daemon is refused with a text that says what to do, until the first is gone', async () => {
  const first = await open();
  await expect(open()).rejects.toMatchObject({
    code: 'data-folder-busy',
    message: expect.stringContaining(folder),
  });
  // Nor did the refused one loosen the lock.
  await expect(open()).rejects.toMatchObject({ code: 'data-folder-busy' });
  await first.close(pulse(t0));
  const second = await open();
  await second.close(pulse(t0));
});

test('closing twice does no harm, and afterwards nothing is taken', async () => {
  const record = await open();
  await record.close(pulse(t0));
  await record.close(pulse(t0));
  await expect(record.flush(pulse(t0))).rejects.toThrow();
  await expect(record.lastPulse()).rejects.toThrow();
});

test('the pulse given to close is the last one', async () => {
  const record = await open();
  await record.close(pulse(t0 + 77));
  const again = await open();
  expect(await again.lastPulse()).toEqual(pulse(t0 + 77));
  await again.close(pulse(t0));
});

test('a record of a later version is left as it is', async () => {
  mkdirSync(folder, { recursive: true });
  const database = new Database(join(folder, 'rollcall.db'));
  database.pragma('user_version = 9999');
  database.close();
  await expect(open()).rejects.toMatchObject({
    code: 'record-newer',
    message: expect.stringContaining('9999'),
  });
  const after = new Database(join(folder, 'rollcall.db'));
  expect(after.pragma('user_version', { simple: true })).toBe(9999);
  expect(after.prepare('SELECT count(*) AS count FROM sqlite_schema').get()).toEqual({ count: 0 });
  after.close();
  // The refusal gave the folder back.
  await expect(open()).rejects.toMatchObject({ code: 'record-newer' });
});

test('a file that is no database is set aside as it is, and a new one begun', async () => {
  mkdirSync(folder, { recursive: true });
  const text = 'This is a letter, and not a database at all. '.repeat(40);
  writeFileSync(join(folder, 'rollcall.db'), text);
  const record = await open();
  await expect.poll(() => record.health().writable, { timeout: 10_000 }).toBe(true);
  expect(record.health().damage).toContain('no SQLite database');
  const aside = readdirSync(folder).find((name) => name.startsWith('rollcall.damaged-'));
  expect(record.health().damage).toContain(aside);
  expect(readFileSync(join(folder, aside ?? ''), 'utf8')).toBe(text);
  await record.close(pulse(t0));
});

test('a folder that cannot be made is named', async () => {
  writeFileSync(join(root.folder, 'var'), '');
  await expect(open()).rejects.toMatchObject({
    code: 'data-folder-unusable',
    message: expect.stringContaining(folder),
  });
});

test('closed in good order it is one file, without a log beside it', async () => {
  const record = await open();
  await record.close(pulse(t0));
  expect(existsSync(join(folder, 'rollcall.db'))).toBe(true);
  expect(existsSync(join(folder, 'rollcall.db-wal'))).toBe(false);
});

test('every table is strict', async () => {
  const record = await open();
  const reader = new Database(join(folder, 'rollcall.db'), { readonly: true });
  const loose = reader
    .prepare(
      `SELECT name FROM pragma_table_list WHERE schema = 'main' AND type = 'table' AND strict = 0`,
    )
    .all();
  expect(loose).toEqual([{ name: 'sqlite_schema' }]);
  expect(reader.pragma('user_version', { simple: true })).toBe(readMigrations().length);
  reader.close();
  await record.close(pulse(t0));
});

test('a commit is on the disk when it returns: the log is synchronised with each', () => {
  const { database } = openEngine(root.folder);
  // 2 is FULL (sqlite.org/pragma.html#pragma_synchronous).
  expect(database.pragma('synchronous', { simple: true })).toBe(2);
  expect(database.pragma('journal_mode', { simple: true })).toBe('wal');
  expect(database.pragma('foreign_keys', { simple: true })).toBe(1);
  database.close();
});
