/** A record that cannot be written: nothing is lost that fits into memory, and the watch goes on. */
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { groupCommitMs } from '../../src/base/limits.ts';
import { type OpenedEngine, openEngine, temporaryFolder } from './support/sqlite.ts';
import {
  always,
  answered,
  attempt,
  changes,
  failed,
  memory,
  minute,
  notice,
  outage,
  pulse,
  second,
  t0,
  unconfirmedFailure,
} from './support/values.ts';

let folder: ReturnType<typeof temporaryFolder>;
let opened: OpenedEngine;
beforeEach(() => {
  folder = temporaryFolder();
  opened = openEngine(folder.folder);
});
afterEach(async () => {
  await opened.record.close(pulse(t0));
  folder.end();
});

/** No page can be added to the file any more (sqlite.org/pragma.html#pragma_max_page_count). */
const fillDisk = () => opened.database.pragma('max_page_count = 1');
const makeRoom = () => opened.database.pragma('max_page_count = 1000000');
const long = 'A long story. '.repeat(2_000);

const down = changes({
  observations: [{ serviceId: 'shop', observation: failed(t0 + second) }],
  memories: [{ serviceId: 'shop', memory: memory({ state: 'down' }) }],
  spans: [
    {
      serviceId: 'shop',
      edits: [
        { state: 'up', from: t0 - minute, earliestFrom: t0 - minute },
        { state: 'down', from: t0, earliestFrom: t0 - second },
      ],
    },
  ],
  outages: [outage('shop', t0)],
  unconfirmed: [unconfirmedFailure('shop', t0 - minute)],
  notices: [
    {
      kind: 'add',
      notice: notice('n1', {
        serviceId: 'shop',
        outageId: `shop.${t0}`,
        data: { summary: 'Shop is down.', long },
      }),
    },
  ],
});

async function everything() {
  const { record } = opened;
  return {
    remembered: await record.remembered('shop'),
    observations: await record.observations('shop', always),
    spans: await record.spans('shop', always),
    outages: await record.outages(null, always),
    unconfirmed: await record.unconfirmed('shop', always),
    disturbances: await record.disturbances(always),
    due: await record.dueDeliveries(t0 + minute, 10),
    nextAt: await record.nextDeliveryAt(),
    deliveries: await record.deliveriesOf(`shop.${t0}`),
  };
}

describe('on a full disk', () => {
  beforeEach(async () => {
    await opened.record.observe({ serviceId: 'shop', observation: answered(t0 - minute) });
    await opened.record.flush(pulse(t0));
    fillDisk();
  });

  test('a change is refused with a text that says why, and so says the health', async () => {
    await expect(opened.record.commit(down)).rejects.toMatchObject({
      code: 'data-folder-unusable',
      message: expect.stringContaining('the disk is full'),
    });
    expect(opened.record.health()).toMatchObject({
      writable: false,
      trouble: expect.stringContaining('the disk is full'),
      queuedCount: 2,
      droppedCount: 0,
    });
    expect(opened.said).toHaveLength(1);
  });

  test('reads see what waits, and it is the same when it is written', async () => {
    await expect(opened.record.commit(down)).rejects.toThrow();
    await opened.record.observe({ serviceId: 'shop', observation: failed(t0 + 2 * second) });
    await opened.record.disturbed({ at: t0, kind: 'stalled', byMs: 9 });
    const waiting = await everything();
    expect(waiting).toMatchObject({
      remembered: { memory: down.memories[0]?.memory, last: failed(t0 + 2 * second) },
      observations: [answered(t0 - minute), failed(t0 + second), failed(t0 + 2 * second)],
      spans: [{ state: 'up', to: t0 }, { state: 'down' }],
      outages: down.outages,
      unconfirmed: down.unconfirmed,
      disturbances: [{ kind: 'stalled' }],
      due: [{ notice: { id: 'n1' } }],
    });

    makeRoom();
    await opened.record.flush(pulse(t0 + minute));
    expect(opened.record.health()).toMatchObject({ writable: true, trouble: null, queuedCount: 0 });
    expect(await everything()).toEqual(waiting);
    const rows = opened.database.prepare('SELECT count(*) FROM tail').pluck().get();
    expect(rows).toBe(3);
    expect(opened.said).toEqual([
      'the record cannot be written; what is new waits in memory',
      'the record can be written again',
    ]);
  });

  test('what probes keep does not pile up, and is written when there is room', async () => {
    makeRoom();
    await opened.record.keep('old', 'words');
    await opened.record.flush(pulse(t0));
    fillDisk();
    await expect(opened.record.commit(down)).rejects.toThrow();
    const waiting = opened.record.health().queuedCount;
    for (const stamp of ['1', '2', '3']) {
      await opened.record.keep('stamp', stamp);
      await opened.record.flush(pulse(t0));
    }
    expect(opened.record.health()).toMatchObject({ writable: false, queuedCount: waiting + 1 });
    expect(await opened.record.kept('stamp')).toBe('3');
    expect(await opened.record.kept('old')).toBe('words');
    makeRoom();
    await opened.record.flush(pulse(t0));
    const words = opened.database.prepare('SELECT words FROM kept WHERE name = ?').pluck();
    expect(words.get('stamp')).toBe('3');
  });

  test('the timer of the groups tries again, and says so only once', async () => {
    await expect(opened.record.commit(down)).rejects.toThrow();
    await opened.advance(3 * groupCommitMs);
    expect(opened.record.health().writable).toBe(false);
    expect(opened.said).toHaveLength(1);
    makeRoom();
    await opened.advance(groupCommitMs);
    expect(opened.record.health()).toMatchObject({ writable: true, queuedCount: 0 });
    expect(await opened.record.outage(`shop.${t0}`)).toEqual(down.outages[0]);
    expect(await opened.record.lastPulse()).toEqual(pulse(t0 + 4 * groupCommitMs));
  });

  test('changes that follow wait behind the first, in order', async () => {
    const back = changes({
      spans: [{ serviceId: 'shop', edits: [{ state: 'up', from: t0 + minute, earliestFrom: t0 }] }],
      outages: [outage('shop', t0, { restoredAt: t0 + minute })],
    });
    await expect(opened.record.commit(down)).rejects.toThrow();
    await expect(opened.record.commit(back)).rejects.toThrow();
    makeRoom();
    await opened.record.flush(pulse(t0));
    const spans = await opened.record.spans('shop', always);
    expect(spans.map(({ state }) => state)).toEqual(['up', 'down', 'up']);
    expect(await opened.record.outages(null, always)).toEqual(back.outages);
  });

  test('notices go out, once, and what came of them is written later', async () => {
    await expect(opened.record.commit(down)).rejects.toThrow();
    expect(await opened.record.claim('n1', 'phone', t0)).toBe(true);
    await opened.record.attempted(attempt('n1'));
    expect(await opened.record.dueDeliveries(t0 + minute, 10)).toEqual([]);
    expect(await opened.record.claim('n1', 'phone', t0)).toBe(false);
    makeRoom();
    await opened.record.flush(pulse(t0));
    expect(await opened.record.dueDeliveries(t0 + minute, 10)).toEqual([]);
    expect(await opened.record.deliveriesOf(`shop.${t0}`)).toMatchObject([
      { state: 'delivered', attempts: [{ status: 204 }] },
    ]);
  });

  test('a change set that is not fit is refused for good, and holds up none behind it', async () => {
    await expect(opened.record.commit(down)).rejects.toThrow();
    const unfit = changes({
      unconfirmed: [{ ...unconfirmedFailure('nas', t0), lastFailedAt: 0.5 }],
    });
    const { queuedCount } = opened.record.health();
    await expect(opened.record.commit(unfit)).rejects.toThrow('REAL');
    expect(opened.record.health().queuedCount).toBe(queuedCount);
    const fit = changes({ unconfirmed: [unconfirmedFailure('nas', t0)] });
    await expect(opened.record.commit(fit)).rejects.toThrow('the disk is full');
    makeRoom();
    await opened.record.flush(pulse(t0));
    expect(opened.record.health().writable).toBe(true);
    expect(await opened.record.unconfirmed('nas', always)).toEqual(fit.unconfirmed);
  });

  test('a failed group leaves nothing behind in memory that the file does not have', async () => {
    // A service, facts and an hour that are new: all that is noted beside the rows.
    const later = t0 + 5 * 3_600_000;
    const told = ['short', long].map((version) => answered(later, { facts: { version } }));
    for (const observation of told) await opened.record.observe({ serviceId: 'nas', observation });
    await opened.record.flush(pulse(t0));
    expect(opened.record.health().writable).toBe(false);
    expect(await opened.record.observations('nas', always)).toEqual(told);
    makeRoom();
    await opened.record.flush(pulse(t0));
    expect(await opened.record.observations('nas', always)).toEqual(told);
    expect(opened.database.pragma('foreign_key_check')).toEqual([]);
  });
});

test('a record that turned read-only says so, and takes up again', async () => {
  opened.database.pragma('query_only = ON');
  await expect(opened.record.commit(down)).rejects.toThrow('read-only');
  expect(opened.record.health().trouble).toContain('read-only');
  opened.database.pragma('query_only = OFF');
  await opened.record.flush(pulse(t0));
  expect(opened.record.health().writable).toBe(true);
  expect(await opened.record.outages(null, always)).toEqual(down.outages);
});

test('attempts made before are seen while nothing can be written', async () => {
  await opened.record.commit(down);
  const next = { state: 'waiting', nextAttemptAt: t0 + minute } as const;
  await opened.record.attempted(attempt('n1', { status: 503, next }));
  const before = await everything();
  opened.database.pragma('query_only = ON');
  await opened.record.flush(pulse(t0));
  expect(opened.record.health().writable).toBe(false);
  expect(await everything()).toEqual(before);
  expect(before.deliveries).toMatchObject([{ attempts: [{ status: 503 }] }]);
});

test('what can still be read stands in for what cannot', async () => {
  await opened.record.commit(down);
  opened.database.exec('DROP TABLE disturbances');
  opened.database.pragma('query_only = ON');
  await opened.record.flush(pulse(t0));
  expect(await opened.record.outages(null, always)).toEqual(down.outages);
  expect(await opened.record.disturbances(always)).toEqual([]);
});

test('what waits when the record is closed in trouble is counted in the log', async () => {
  fillDisk();
  await expect(opened.record.commit(down)).rejects.toThrow();
  await opened.record.close(pulse(t0));
  expect(opened.said.at(-1)).toBe('what waited for the record is lost');
});
