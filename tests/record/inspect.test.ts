/** A look through a whole record, also while it is used. */
import { copyFileSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import Database from 'better-sqlite3';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { inspectRecord } from '../../src/record/sqlite/inspect.ts';
import { type Opened, openAt } from './support/lived-record.ts';
import { temporaryFolder } from './support/sqlite.ts';
import { answered, changes, failed, minute, outage, pulse, t0 } from './support/values.ts';

const dayMs = 24 * 60 * minute;

let root: ReturnType<typeof temporaryFolder>;
let opened: Opened;
beforeEach(async () => {
  root = temporaryFolder();
  opened = await openAt(root.folder);
});
afterEach(async () => {
  await opened.record.close(pulse(t0));
  root.end();
});

/** Three days of a service that was down once, the first two sealed. */
async function live(): Promise<void> {
  const { record } = opened;
  for (let at = t0; at < t0 + 3 * dayMs; at += 10 * minute) {
    const isDown = at >= t0 + dayMs && at < t0 + dayMs + 60 * minute;
    const observation = isDown ? failed(at) : answered(at);
    await record.observe({ serviceId: 'shop', observation });
  }
  const edit = (state: 'up' | 'down', from: number, back = 0) => ({
    state,
    from,
    earliestFrom: from - back,
  });
  const last = t0 + dayMs + 50 * minute;
  await record.commit(
    changes({
      spans: [
        {
          serviceId: 'shop',
          edits: [
            edit('up', t0),
            edit('down', t0 + dayMs, 10 * minute),
            edit('up', last + 10 * minute, 10 * minute),
          ],
        },
      ],
      outages: [
        outage('shop', t0 + dayMs, {
          lastGoodAt: t0 + dayMs - 10 * minute,
          confirmedAt: t0 + dayMs + 10 * minute,
          lastFailedAt: last,
          restoredAt: last + 10 * minute,
        }),
      ],
    }),
  );
  await record.upkeep.seal(t0 + 2 * dayMs + 12 * 60 * minute);
}

test('of a sound record there is nothing to say, while it is used as afterwards', async () => {
  await live();
  const sound = { faults: [], contradictions: [], servicesCount: 1, observationsCount: 432 };
  expect(await inspectRecord(root.folder)).toMatchObject({ ...sound, sealedDaysCount: 2 });
  await opened.record.observe({ serviceId: 'shop', observation: answered(t0 + 3 * dayMs) });
  await opened.record.flush(pulse(t0));
  expect(await inspectRecord(root.folder)).toMatchObject({ ...sound, observationsCount: 433 });
  await opened.record.close(pulse(t0));
  expect(await inspectRecord(root.folder)).toMatchObject({ ...sound, observationsCount: 433 });
});

test('what was forgotten is not missed', async () => {
  await live();
  await opened.record.upkeep.prune(t0 + dayMs);
  expect(await inspectRecord(root.folder)).toMatchObject({ faults: [], contradictions: [] });
});

test('what does not follow from the answers is told by service', async () => {
  await live();
  await opened.record.commit(changes({ outages: [outage('shop', t0 + 5 * minute)] }));
  const found = await inspectRecord(root.folder);
  expect(found).toMatchObject({ faults: [], contradictions: [{ serviceId: 'shop' }] });
  expect(found?.contradictions[0]?.found).toContain(
    'The outage from 2026-11-25T04:05:00.000Z claims failures that are not there.',
  );
});

test('where the clock was set back instants are not held against it', async () => {
  await live();
  const { record } = opened;
  const at = t0 + 3 * dayMs;
  await record.disturbed({ at, kind: 'clock-stepped', byMs: -3_600_000 });
  await record.commit(
    changes({ outages: [outage('shop', at + 30 * minute, { restoredAt: at + 40 * minute })] }),
  );
  const found = (await inspectRecord(root.folder))?.contradictions[0]?.found ?? [];
  expect(found.filter((sentence) => sentence.includes('claims failures'))).toEqual([]);
});

test('damage is told, and nothing is worked out from it', async () => {
  await live();
  await opened.record.close(pulse(t0));
  const bytes = readFileSync(join(root.folder, 'rollcall.db'));
  const place = bytes.indexOf('nothing listens on');
  bytes[place] = 0x4e;
  const folder = join(root.folder, 'damaged');
  mkdirSync(folder);
  writeFileSync(join(folder, 'rollcall.db'), bytes);
  const found = await inspectRecord(folder);
  expect(found?.faults).toEqual([expect.stringContaining('changed since written')]);
  expect(found?.contradictions).toEqual([]);
  expect(readFileSync(join(folder, 'rollcall.db'))).toEqual(bytes);
  writeFileSync(join(folder, 'rollcall.db'), 'no database');
  expect((await inspectRecord(folder))?.faults).toEqual([
    expect.stringContaining('no SQLite database'),
  ]);
});

test('there may be none, or one of another version', async () => {
  expect(await inspectRecord(join(root.folder, 'nowhere'))).toBeNull();
  await opened.record.close(pulse(t0));
  const folder = join(root.folder, 'later');
  mkdirSync(folder);
  copyFileSync(join(root.folder, 'rollcall.db'), join(folder, 'rollcall.db'));
  const database = new Database(join(folder, 'rollcall.db'));
  database.pragma('user_version = 9999');
  database.close();
  await expect(inspectRecord(folder)).rejects.toMatchObject({ code: 'record-newer' });
});
