/**
 * The file taken away under the daemon: removed, replaced, its folder removed, its disk full. What is new waits in memory
 * and is written when there is a file again; what the daemon has open is not lost with the name of its file.
 */
import { spawnSync } from 'node:child_process';
import {
  existsSync,
  mkdirSync,
  readdirSync,
  renameSync,
  rmSync,
  statfsSync,
  writeFileSync,
} from 'node:fs';
import { join } from 'node:path';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { groupCommitMs } from '../../src/base/limits.ts';
import { needs } from '../support/peers.ts';
import {
  type Everything,
  everythingIn,
  liveIn,
  type Opened,
  openAt,
} from './support/lived-record.ts';
import { temporaryFolder } from './support/sqlite.ts';
import { always, answered, changes, outage, pulse, t0 } from './support/values.ts';

let root: ReturnType<typeof temporaryFolder>;
let folder: string;
let opened: Opened;
let original: Everything;
beforeEach(async () => {
  root = temporaryFolder();
  folder = join(root.folder, 'data');
  await liveIn(folder);
  opened = await openAt(folder);
  original = await everythingIn(opened.record);
});
afterEach(async () => {
  await opened.record.close(pulse(t0));
  root.end();
});

const late = outage('shop', t0, { restoredAt: t0 + 5_000 });

/** An answer and a change, as the watch makes them. */
async function watchOn(): Promise<void> {
  const { record } = opened;
  await record.observe({ serviceId: 'shop', observation: answered(t0) });
  await record.commit(changes({ outages: [late] })).catch(() => {});
}

const shop = async ({ record }: Opened) => ({
  observations: await record.observations('shop', always),
  outage: await record.outage(late.id),
});
const all = { observations: [answered(t0)], outage: late };

/** The next group, and what it sets off. */
const nextGroup = () => opened.clock.advance(groupCommitMs);

async function writable(): Promise<void> {
  await expect.poll(() => opened.record.health().writable, { timeout: 15_000 }).toBe(true);
}

/** What a daemon finds that is started on the folder now. */
async function afterRestart(): Promise<Everything & { shop: typeof all }> {
  await opened.record.close(pulse(t0));
  const again = await openAt(folder);
  const found = { ...(await everythingIn(again.record)), shop: await shop(again) };
  await again.record.close(pulse(t0));
  return found as Everything & { shop: typeof all };
}

test('a file that was removed is written anew, with everything', async () => {
  for (const name of readdirSync(folder)) {
    if (name.startsWith('rollcall.db')) rmSync(join(folder, name));
  }
  await watchOn();
  await nextGroup();
  await writable();
  expect(opened.record.health().damage).toContain('found removed');
  expect(await everythingIn(opened.record)).toMatchObject({ services: original.services });
  expect(await afterRestart()).toMatchObject({ services: original.services, shop: all });
});

test('its name alone, too, while the log beside it stays', async () => {
  await watchOn();
  await opened.record.flush(pulse(t0));
  rmSync(join(folder, 'rollcall.db'));
  await nextGroup();
  await writable();
  expect(await afterRestart()).toMatchObject({ services: original.services, shop: all });
});

test('a folder that was removed is made anew, and held against a second daemon', async () => {
  rmSync(folder, { recursive: true });
  await watchOn();
  await nextGroup();
  await writable();
  await expect(openAt(folder)).rejects.toMatchObject({ code: 'data-folder-busy' });
  expect(await afterRestart()).toMatchObject({ services: original.services, shop: all });
});

test('a file that lies in its place is kept beside the record, and the record goes on with its own', async () => {
  renameSync(join(folder, 'rollcall.db'), join(root.folder, 'away.db'));
  writeFileSync(join(folder, 'rollcall.db'), 'another file');
  await watchOn();
  await nextGroup();
  await writable();
  const foreign = readdirSync(folder).find((name) => name.startsWith('rollcall.foreign-'));
  expect(opened.record.health().damage).toContain(`The other file is kept as ${foreign}`);
  expect(await afterRestart()).toMatchObject({ services: original.services, shop: all });
});

test('while there can be no file everything is seen all the same, and written when there can', async () => {
  rmSync(folder, { recursive: true });
  // In the place of the folder: none can be made there, whoever asks.
  writeFileSync(folder, '');
  await watchOn();
  await nextGroup();
  await nextGroup();
  expect(opened.record.health()).toMatchObject({ writable: false });
  expect(opened.record.health().trouble).toContain('its file is gone, and none can be made');
  expect(await shop(opened)).toEqual(all);
  expect(await everythingIn(opened.record)).toMatchObject({ services: original.services });
  rmSync(folder);
  await nextGroup();
  await writable();
  expect(await afterRestart()).toMatchObject({ services: original.services, shop: all });
});

test('a folder that another daemon took meanwhile is not taken back', async () => {
  rmSync(folder, { recursive: true });
  const other = await openAt(folder);
  await watchOn();
  await nextGroup();
  expect(opened.record.health().trouble).toContain('Another Rollcall daemon uses the data folder');
  expect(await shop(other)).toEqual({ observations: [], outage: null });
  await other.record.close(pulse(t0));
});

test('a folder that was moved away and back is the same', async () => {
  const away = join(root.folder, 'away');
  renameSync(folder, away);
  writeFileSync(folder, '');
  await watchOn();
  await nextGroup();
  expect(opened.record.health().writable).toBe(false);
  rmSync(folder);
  renameSync(away, folder);
  await nextGroup();
  await writable();
  expect(opened.record.health().damage).toBeNull();
  expect(await afterRestart()).toMatchObject({ services: original.services, shop: all });
});

const mayMount = () =>
  process.getuid?.() === 0 ? mountTried() : 'only root may mount a file system';
needs(
  'a small file system',
  '/bin/mount',
  mayMount,
)('a disk of its own', () => {
  let disk: string;
  let small: Opened;
  beforeEach(async () => {
    disk = join(root.folder, 'disk');
    mkdirSync(disk);
    mount(disk);
    small = await openAt(disk);
    await small.record.observe({ serviceId: 'shop', observation: answered(t0 - 1) });
    await small.record.flush(pulse(t0));
  });
  afterEach(async () => {
    await small.record.close(pulse(t0));
    spawnSync('umount', [disk]);
  });

  const fill = () => {
    const { bavail, bsize } = statfsSync(disk);
    writeFileSync(join(disk, 'filler'), Buffer.alloc(bavail * bsize));
  };
  const long = 'A long story. '.repeat(2_000);

  test('that is full keeps what is new in memory, and has it written when there is room', async () => {
    fill();
    const { record, clock } = small;
    for (let nth = 0; nth < 20; nth++) {
      await record.observe({
        serviceId: 'shop',
        observation: answered(t0 + nth, { facts: { long: `${nth}${long}` } }),
      });
    }
    await clock.advance(groupCommitMs);
    expect(record.health().trouble).toContain('the disk is full');
    expect(await record.observations('shop', always)).toHaveLength(21);
    rmSync(join(disk, 'filler'));
    await clock.advance(groupCommitMs);
    expect(record.health()).toMatchObject({ writable: true, queuedCount: 0, damage: null });
    expect(await record.upkeep.verify()).toMatchObject({ faults: [] });
  });

  test('that is full does not keep a daemon from beginning, and what it learns is written later', async () => {
    await small.record.close(pulse(t0));
    fill();
    small = await openAt(disk);
    const { record, clock } = small;
    await record.observe({ serviceId: 'shop', observation: answered(t0, { facts: { long } }) });
    await record.flush(pulse(t0));
    expect((await record.observations('shop', always)).at(-1)?.at).toBe(t0);
    rmSync(join(disk, 'filler'));
    await clock.advance(2 * groupCommitMs);
    await expect.poll(() => record.health().writable).toBe(true);
    expect(await record.observations('shop', always)).toHaveLength(2);
  });

  test('that is full takes no backup, which is said, and keeps none by half', async () => {
    fill();
    const path = join(disk, 'backup.db');
    await expect(opened.record.upkeep.backup(path)).rejects.toMatchObject({
      code: 'upkeep-failed',
      message: expect.stringContaining('the disk is full'),
    });
    expect(readdirSync(disk).filter((name) => name.includes('backup'))).toEqual([]);
    expect(opened.record.health()).toMatchObject({ writable: true, damage: null });
  });

  test('that is full keeps a damaged record waiting, not the watch', async () => {
    await small.record.close(pulse(t0));
    writeFileSync(join(disk, 'rollcall.db'), 'no database');
    fill();
    small = await openAt(disk);
    const { record, clock } = small;
    await record.observe({ serviceId: 'shop', observation: answered(t0) });
    await clock.advance(3 * groupCommitMs);
    expect(record.health().writable).toBe(false);
    expect(await record.observations('shop', always)).toEqual([answered(t0)]);
    expect(existsSync(join(disk, 'rollcall.db.new'))).toBe(false);
    rmSync(join(disk, 'filler'));
    await clock.advance(2 * groupCommitMs);
    await expect.poll(() => record.health().writable).toBe(true);
    expect(await record.observations('shop', always)).toEqual([answered(t0)]);
    expect(record.health().damage).toContain('no SQLite database');
  });

  test('that is read-only refuses a start with what is wrong, and takes no harm', async () => {
    await small.record.close(pulse(t0));
    const remount = (how: string) => spawnSync('mount', ['-o', `remount,${how}`, disk]).status;
    expect(remount('ro')).toBe(0);
    await expect(openAt(disk)).rejects.toMatchObject({ code: 'data-folder-unusable' });
    expect(remount('rw')).toBe(0);
    small = await openAt(disk);
    expect(await small.record.observations('shop', always)).toEqual([answered(t0 - 1)]);
  });
});

function mount(place: string): boolean {
  return spawnSync('mount', ['-t', 'tmpfs', '-o', 'size=2m', 'tmpfs', place]).status === 0;
}

function mountTried(): string | null {
  const tried = temporaryFolder();
  const can = mount(tried.folder);
  if (can) spawnSync('umount', [tried.folder]);
  tried.end();
  return can ? null : 'nothing can be mounted here';
}
