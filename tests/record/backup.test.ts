/** Backups of the record while it is in use, and what a backup is good for. */
import {
  existsSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  renameSync,
  statSync,
  writeFileSync,
} from 'node:fs';
import { join } from 'node:path';
import Database from 'better-sqlite3';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import {
  type Everything,
  everythingIn,
  liveIn,
  type Opened,
  openAt,
} from './support/lived-record.ts';
import { temporaryFolder } from './support/sqlite.ts';
import { always, answered, pulse, t0 } from './support/values.ts';

let root: ReturnType<typeof temporaryFolder>;
let folder: string;
let target: string;
let opened: Opened;
beforeEach(async () => {
  root = temporaryFolder();
  folder = join(root.folder, 'data');
  target = join(root.folder, 'backups');
  mkdirSync(target);
  await liveIn(folder);
  opened = await openAt(folder);
});
afterEach(async () => {
  await opened.record.close(pulse(t0));
  root.end();
});

/** What stands in a file, as a daemon would find it that is given this file for its record. */
async function restored(path: string): Promise<Everything> {
  const place = join(root.folder, 'restored');
  mkdirSync(place);
  renameSync(path, join(place, 'rollcall.db'));
  const again = await openAt(place);
  const everything = await everythingIn(again.record);
  expect(again.record.health().damage).toBeNull();
  await again.record.close(pulse(t0));
  return everything;
}

test('a backup that is put in the place of the record holds everything', async () => {
  const path = join(target, 'rollcall-2026-11-25.db');
  const { sizeBytes } = await opened.record.upkeep.backup(path);
  expect(statSync(path).size).toBe(sizeBytes);
  expect((statSync(path).mode & 0o777).toString(8)).toBe('600');
  expect(readdirSync(target)).toEqual(['rollcall-2026-11-25.db']);
  expect(await restored(path)).toEqual(await everythingIn(opened.record));
});

test('what waits for the next group is in it, and what comes later is not', async () => {
  const path = join(target, 'now.db');
  const entry = (at: number) => ({ serviceId: 'shop', observation: answered(at) });
  await opened.record.observe(entry(t0));
  const backup = opened.record.upkeep.backup(path);
  await opened.record.observe(entry(t0 + 1));
  await opened.record.flush(pulse(t0));
  await backup;
  expect(await opened.record.observations('shop', always)).toHaveLength(2);
  const copy = new Database(path, { readonly: true });
  expect(
    copy
      .prepare(
        "SELECT count(*) FROM tail WHERE at_ms < 1795579200002 AND service = (SELECT key FROM services WHERE id = 'shop')",
      )
      .pluck()
      .get(),
  ).toBe(1);
  copy.close();
});

test('it is one file that can be read where nothing can be written beside it', async () => {
  const path = join(target, 'one.db');
  await opened.record.upkeep.backup(path);
  const copy = new Database(readFileSync(path));
  expect(copy.pragma('journal_mode', { simple: true })).not.toBe('wal');
  expect(copy.pragma('integrity_check', { simple: true })).toBe('ok');
  copy.close();
});

test('an older one of the same name is replaced, and half a one of before is swept away', async () => {
  const path = join(target, 'again.db');
  writeFileSync(join(target, '.again.db.part'), 'half a backup');
  await opened.record.upkeep.backup(path);
  await opened.record.observe({ serviceId: 'shop', observation: answered(t0) });
  await opened.record.upkeep.backup(path);
  expect(readdirSync(target)).toEqual(['again.db']);
  expect(await restored(path)).toEqual(await everythingIn(opened.record));
});

describe('one that cannot be made', () => {
  test('says that its folder is missing, and does not make one', async () => {
    const path = join(root.folder, 'not mounted', 'a.db');
    await expect(opened.record.upkeep.backup(path)).rejects.toMatchObject({
      code: 'upkeep-failed',
      message: expect.stringContaining(`is not there: ${join(root.folder, 'not mounted')}`),
    });
    expect(existsSync(join(root.folder, 'not mounted'))).toBe(false);
  });

  test('does not overwrite what is no backup of this record', async () => {
    const letter = join(target, 'letter.db');
    writeFileSync(letter, 'Dear Fern, …');
    await expect(opened.record.upkeep.backup(letter)).rejects.toMatchObject({
      code: 'upkeep-failed',
      message: expect.stringContaining('no backup of this record'),
    });
    expect(readFileSync(letter, 'utf8')).toBe('Dear Fern, …');

    const other = await openAt(join(root.folder, 'another'));
    const path = join(target, 'theirs.db');
    await other.record.upkeep.backup(path);
    await expect(opened.record.upkeep.backup(path)).rejects.toThrow('no backup of this record');
    await other.record.close(pulse(t0));
  });

  test('leaves nothing behind, and the record is as writable as before', async () => {
    mkdirSync(join(target, 'taken.db'));
    await expect(opened.record.upkeep.backup(join(target, 'taken.db'))).rejects.toMatchObject({
      code: 'upkeep-failed',
    });
    expect(readdirSync(target)).toEqual(['taken.db']);
    expect(opened.record.health().writable).toBe(true);
  });

  test('is refused while the record itself cannot be written', async () => {
    await opened.record.close(pulse(t0));
    await expect(opened.record.upkeep.backup(join(target, 'a.db'))).rejects.toThrow();
  });
});

test('in a thread it is the same', async () => {
  await opened.record.close(pulse(t0));
  opened = await openAt(folder, { upkeep: 'beside' });
  const path = join(target, 'thread.db');
  await opened.record.upkeep.backup(path);
  expect(await opened.record.upkeep.verify()).toMatchObject({ faults: [] });
  expect(await restored(path)).toEqual(await everythingIn(opened.record));
}, 60_000);
