/**
 * Damage of the file: a byte that changed is found, wherever it is, or it changes nothing that can be read. What takes the
 * place of a damaged file has all that could be read of it and of the newest good backup, and nothing that never was.
 */
import { spawnSync } from 'node:child_process';
import { copyFileSync, mkdirSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import Database from 'better-sqlite3';
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, test } from 'vitest';
import type { OpenGiven } from '../../src/record/sqlite/open.ts';
import { createWorkshop } from '../../src/record/sqlite/workshop.ts';
import {
  type Everything,
  everythingIn,
  liveIn,
  type Opened,
  openAt,
} from './support/lived-record.ts';
import { temporaryFolder } from './support/sqlite.ts';
import { always, answered, changes, failed, outage, pulse, t0 } from './support/values.ts';

let root: ReturnType<typeof temporaryFolder>;
/** A record as it was lived, in one file. */
let lived: string;
let bytes: Buffer;
let original: Everything;
beforeAll(async () => {
  root = temporaryFolder();
  const folder = join(root.folder, 'lived');
  await liveIn(folder);
  lived = join(folder, 'rollcall.db');
  bytes = readFileSync(lived);
  const { record } = await openAt(folder);
  original = await everythingIn(record);
  await record.close(pulse(t0));
  bytes = readFileSync(lived);
});
afterAll(() => root.end());

let folder: string;
let path: string;
let opened: Opened | null = null;
beforeEach(() => {
  folder = join(root.folder, 'data');
  path = join(folder, 'rollcall.db');
  mkdirSync(folder);
});
afterEach(async () => {
  await opened?.record.close(pulse(t0));
  opened = null;
  rmSync(folder, { recursive: true, force: true });
});

const pageBytes = () => bytes.readUInt16BE(16);

/** The file with these bytes turned over: each differs in every bit. */
function flipped(places: readonly number[]): Buffer {
  const damaged = Buffer.from(bytes);
  for (const place of places) damaged[place] = (damaged[place] ?? 0) ^ 0xff;
  return damaged;
}

async function open(given: Partial<OpenGiven> = {}): Promise<Opened> {
  opened = await openAt(folder, given);
  return opened;
}

/** When what goes on with the file has come to its end. */
async function settled({ record }: Opened): Promise<void> {
  await expect.poll(() => record.health().writable, { timeout: 15_000 }).toBe(true);
}

const asideIn = (place: string) =>
  readdirSync(place).filter((name) =>
    /^rollcall\.(damaged|foreign)-\d{8}T\d{6}Z(-\d)?\.db$/.test(name),
  );

/** The pages of a table or an index. */
function pagesOf(name: string): readonly number[] {
  const database = new Database(lived, { readonly: true });
  const pages = database
    .prepare<[string], number>('SELECT pageno FROM dbstat WHERE name = ? ORDER BY pageno')
    .pluck()
    .all(name);
  database.close();
  return pages;
}

function namesOf(type: 'table' | 'index'): readonly string[] {
  const database = new Database(lived, { readonly: true });
  const names = database
    .prepare<[string], string>('SELECT name FROM sqlite_schema WHERE type = ? ORDER BY name')
    .pluck()
    .all(type);
  database.close();
  return names;
}

/** Each byte of the header (sqlite.org/fileformat2.html, 1.3), and every so many of the pages that hold something. */
function placesToTry(): readonly number[] {
  const used = [...namesOf('table'), ...namesOf('index'), 'sqlite_schema'].flatMap(pagesOf);
  const places = Array.from({ length: 100 }, (_, place) => place);
  for (let place = 100; place < bytes.length; place += everyByte) {
    const page = Math.floor(place / pageBytes()) + 1;
    if (used.includes(page) || place % 10 === 0) places.push(place);
  }
  return places;
}

/** A prime: so each part of a page gets its turn. */
const everyByte = 499;

test('a byte that changed anywhere is found, or changes nothing', async () => {
  const workshop = createWorkshop({ mode: 'inline', clock: emptyClock });
  const places = placesToTry();
  const unseen: number[] = [];
  for (const place of places) {
    writeFileSync(path, flipped([place]));
    const found = await workshop.run({ kind: 'verify', path }).then(
      ({ faults }) => faults.length > 0,
      () => true,
    );
    if (!found) unseen.push(place);
  }
  // Free pages, the room between rows, counters that only tell caches apart: they hold nothing.
  expect(places.length - unseen.length).toBeGreaterThan(places.length / 4);
  for (const place of unseen) {
    writeFileSync(path, flipped([place]));
    const { record } = await open();
    expect({ place, damage: record.health().damage, ...(await everythingIn(record)) }).toEqual({
      place,
      damage: null,
      ...original,
    });
    await record.close(pulse(t0));
    for (const name of readdirSync(folder)) rmSync(join(folder, name));
  }
}, 300_000);

const emptyClock = {
  wallMs: () => t0,
  monotonicMs: () => 0,
  bootMs: () => 0,
  after: () => ({ cancel: () => {} }),
};

describe('a page full of rubbish', () => {
  const rubbish = () => {
    const pages: [string, number][] = [];
    for (const name of [...namesOf('table'), ...namesOf('index')]) {
      // The root of each, and one that it leads to.
      for (const page of pagesOf(name).slice(0, 2)) pages.push([name, page]);
    }
    return pages;
  };

  function spoil(page: number): void {
    const damaged = Buffer.from(bytes);
    damaged.fill(0xa5, (page - 1) * pageBytes(), page * pageBytes());
    writeFileSync(path, damaged);
  }

  test('costs nothing where there is a backup, whichever page it is', async () => {
    for (const [name, page] of rubbish()) {
      spoil(page);
      const { record, clock } = await open({ backups: () => [lived] });
      const seen = { name, page };
      // While nobody knows yet, or while it is being replaced: the watch goes on.
      await record.observe({ serviceId: 'shop', observation: answered(t0) });
      await record.upkeep.verify().catch(() => {});
      await settled({ record, clock });
      expect({ ...seen, damage: record.health().damage !== null }).toEqual({
        ...seen,
        damage: true,
      });
      expect({ ...seen, ...(await everythingIn(record)) }).toEqual({ ...seen, ...original });
      expect(await record.observations('shop', always)).toEqual([answered(t0)]);
      expect(asideIn(folder)).toHaveLength(1);
      expect(await record.upkeep.verify()).toMatchObject({ faults: [] });
      await record.close(pulse(t0));
      for (const file of readdirSync(folder)) rmSync(join(folder, file));
    }
  }, 300_000);

  test('costs at most what was on it where there is none, and nothing is invented', async () => {
    for (const [name, page] of rubbish()) {
      spoil(page);
      const { record, clock } = await open();
      const seen = { name, page };
      await record.upkeep.verify().catch(() => {});
      await settled({ record, clock });
      const left = await everythingIn(record);
      expect({ ...seen, invented: inventedIn(left) }).toEqual({ ...seen, invented: [] });
      expect({ ...seen, id: left.instanceId === original.instanceId || name === 'about' }).toEqual({
        ...seen,
        id: true,
      });
      expect({ ...seen, lost: lostIn(left, name) }).toEqual({ ...seen, lost: [] });
      expect(await record.upkeep.verify()).toMatchObject({ faults: [] });
      await record.close(pulse(t0));
      for (const file of readdirSync(folder)) rmSync(join(folder, file));
    }
  }, 300_000);
});

const listed = (values: readonly unknown[]) => values.map((value) => JSON.stringify(value));

function partsOf({ services, outages, disturbances, deliveries, notes }: Everything) {
  return {
    tail: listed(
      services.flatMap(({ serviceId, observations }) =>
        observations.map((one) => ({ serviceId, ...one, facts: null })),
      ),
    ),
    spans: listed(
      services.flatMap(({ serviceId, spans }) =>
        spans.map(({ to: _, ...span }) => ({ serviceId, ...span })),
      ),
    ),
    unconfirmed: listed(services.flatMap(({ unconfirmed }) => unconfirmed)),
    outages: listed(outages),
    disturbances: listed(disturbances),
    notices: listed(deliveries.flat().map(({ notice, channel }) => ({ notice, channel }))),
    notes: listed(notes.flat()),
  };
}

/** What is read now and was not there before. */
function inventedIn(left: Everything): readonly string[] {
  const before = partsOf(original);
  return Object.entries(partsOf(left)).flatMap(([part, values]) => {
    const known = new Set(before[part as keyof typeof before]);
    return values.filter((value) => !known.has(value));
  });
}

/** Parts of which something is gone, though they are not kept in what was spoilt. */
function lostIn(left: Everything, spoilt: string): readonly string[] {
  const hurt: { readonly [name: string]: readonly string[] } = {
    tail: ['tail'],
    chunks: ['tail'],
    sealed_days: ['tail'],
    sealed_pieces: ['tail'],
    moved: ['tail'],
    spans: ['spans'],
    unconfirmed: ['unconfirmed'],
    outages: ['outages', 'notices', 'notes'],
    disturbances: ['disturbances'],
    notices: ['notices'],
    deliveries: ['notices'],
    attempts: [],
    notes: ['notes'],
    // All that is known of a service hangs on its name, and that stands in an index, too.
    services: [],
    sqlite_schema: Object.keys(partsOf(left)),
  };
  const [before, after] = [partsOf(original), partsOf(left)];
  return Object.keys(before).filter(
    (part) =>
      after[part as keyof typeof after].length < before[part as keyof typeof before].length &&
      !hurt[spoilt]?.includes(part),
  );
}

describe('a damaged file', () => {
  /** The id of a record is in doubt, and everything else is sound. */
  const withSpoilt = (text: string) => flipped([bytes.indexOf(text)]);

  test('is replaced at the start, and what was remembered is known at once', async () => {
    writeFileSync(path, withSpoilt('four words are kept'));
    const { record, clock } = await open({ upkeep: 'beside', backups: () => [lived] });
    expect(record.health().writable).toBe(false);
    expect(record.instanceId).toBe(original.instanceId);
    for (const { serviceId, remembered } of original.services) {
      expect((await record.remembered(serviceId)).memory).toEqual(remembered.memory);
    }
    // The watch goes on meanwhile, and all of it is there afterwards.
    await record.observe({ serviceId: 'shop', observation: answered(t0) });
    const late = outage('shop', t0, { restoredAt: t0 + 5_000 });
    await expect(record.commit(changes({ outages: [late] }))).rejects.toThrow('being replaced');
    expect(await record.outage(late.id)).toEqual(late);
    await settled({ record, clock });
    expect(await record.outage(late.id)).toEqual(late);
    expect(await record.observations('shop', always)).toEqual([answered(t0)]);
    expect(await record.kept('wireguard:stamp')).toBe('four words are kept');
  }, 60_000);

  test('that tells nothing any more is stood in for by the newest backup that does', async () => {
    writeFileSync(path, Buffer.alloc(bytes.length, 0x5a));
    const broken = join(root.folder, 'broken.db');
    writeFileSync(broken, 'no backup at all');
    const { record, clock } = await open({ backups: () => [broken, '/nowhere/at/all.db', lived] });
    expect(record.instanceId).toBe(original.instanceId);
    expect(await record.outages(null, always)).toEqual(original.outages);
    await settled({ record, clock });
    expect(await everythingIn(record)).toEqual(original);
    expect(record.health().damage).toMatch(
      /The backup rollcall\.db took its place.* may be missing/,
    );
  });

  test('is said until the file that was set aside is deleted, also after a restart', async () => {
    writeFileSync(path, withSpoilt('four words are kept'));
    const first = await open();
    await settled(first);
    const said = first.record.health().damage ?? '';
    const [aside] = asideIn(folder);
    expect(said).toContain(aside);
    expect(said).toContain('kept');
    expect(said).toContain('2026-11-27 16:00 UTC');
    expect(readFileSync(join(folder, aside ?? ''))).toEqual(withSpoilt('four words are kept'));
    await first.record.close(pulse(t0));

    const second = await open();
    expect(second.record.health().damage).toBe(said);
    rmSync(join(folder, aside ?? ''));
    expect(second.record.health().damage).toBeNull();
  });

  test('whose own id is spoilt keeps the one that its backups have', async () => {
    writeFileSync(path, withSpoilt(original.instanceId));
    const first = await open({ backups: () => [lived] });
    await settled(first);
    expect(await everythingIn(first.record)).toEqual(original);
  });

  test('takes no backup of another record', async () => {
    const other = join(root.folder, 'other');
    await liveIn(other);
    writeFileSync(path, withSpoilt('four words are kept'));
    const first = await open({ backups: () => [join(other, 'rollcall.db')] });
    await settled(first);
    expect(first.record.health().damage).toContain('A new file took its place');
    expect(await everythingIn(first.record)).toEqual({ ...original, kept: null });
    rmSync(other, { recursive: true });
  });

  test('is found by a look through it while it is used, and replaced under its users', async () => {
    copyFileSync(lived, path);
    const first = await open({ backups: () => [lived] });
    const { record } = first;
    await record.observe({ serviceId: 'shop', observation: answered(t0) });
    await record.flush(pulse(t0));
    const revision = record.revision();
    // From outside: this process would lose its locks on the file if it were opened and closed here.
    const place = bytes.indexOf('The plug was loose again.');
    spawnSync('dd', [`of=${path}`, 'bs=1', `seek=${place}`, 'conv=notrunc'], { input: 'A' });
    const found = await record.upkeep.verify();
    expect(found.faults).toEqual(['one row of the table notes changed since written.']);
    await settled(first);
    expect(record.health().damage).toContain('one row of the table notes changed');
    expect(record.revision()).not.toBe(revision);
    expect(await everythingIn(record)).toEqual(original);
    expect(await record.observations('shop', always)).toEqual([answered(t0)]);
    expect(await record.upkeep.verify()).toMatchObject({ faults: [] });
  });

  test('that shows amid a read is replaced, and the read is answered all the same', async () => {
    const damaged = Buffer.from(bytes);
    const [page = 0] = pagesOf('notices_of_outage');
    damaged.fill(0xa5, (page - 1) * pageBytes(), page * pageBytes());
    writeFileSync(path, damaged);
    const first = await open();
    const deliveries = await Promise.all(
      original.outages.map(({ id }) => first.record.deliveriesOf(id)),
    );
    expect(deliveries).toEqual(original.deliveries);
    await settled(first);
    expect(first.record.health().damage).toContain('nothing is missing');
    expect(await everythingIn(first.record)).toEqual(original);
  });

  test('that shows amid a write loses nothing of what was to be written', async () => {
    const damaged = Buffer.from(bytes);
    const [page = 0] = pagesOf('disturbances_in_time');
    damaged.fill(0xa5, (page - 1) * pageBytes(), page * pageBytes());
    writeFileSync(path, damaged);
    const first = await open();
    const { record } = first;
    await record.observe({ serviceId: 'shop', observation: failed(t0) });
    await record.disturbed({ at: t0, kind: 'stalled', byMs: 7 });
    await settled(first);
    expect(await record.observations('shop', always)).toEqual([failed(t0)]);
    expect((await record.disturbances(always)).map(({ kind }) => kind)).toContain('stalled');
  });

  test('that is damaged again at once is not replaced again and again', async () => {
    copyFileSync(lived, path);
    const first = await open();
    const { record, clock } = first;
    const spoil = () =>
      spawnSync('dd', [`of=${path}`, 'bs=1', 'seek=100', 'conv=notrunc'], { input: '\x07' });
    for (let time = 0; time < 3; time++) {
      spoil();
      await record.upkeep.verify().catch(() => {});
      await clock.advance(60_000);
    }
    expect(asideIn(folder)).toHaveLength(1);
    expect(record.health().trouble).toContain('may be failing');
    await record.observe({ serviceId: 'shop', observation: answered(t0) });
    await clock.advance(3_600_000);
    await settled(first);
    expect(asideIn(folder)).toHaveLength(2);
    expect(await record.observations('shop', always)).toEqual([answered(t0)]);
  });
});
