/** When rows reach the file: observations in groups, changes at once, and the pulse with either. */
import Database from 'better-sqlite3';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { groupCommitMs } from '../../src/base/limits.ts';
import { type OpenedSqlite, openSqlite } from './support/sqlite.ts';
import { always, answered, changes, failed, notice, outage, pulse, t0 } from './support/values.ts';

let opened: OpenedSqlite;
let reader: Database.Database;
beforeEach(async () => {
  opened = await openSqlite();
  reader = new Database(opened.path, { readonly: true });
});
afterEach(async () => {
  reader.close();
  await opened.end();
});

/** What another process sees: only what is in the file. */
function inFile(): { tail: unknown; outages: unknown; deliveries: unknown; pulse: unknown } {
  const count = (table: string) => reader.prepare(`SELECT count(*) FROM ${table}`).pluck().get();
  return {
    tail: count('tail'),
    outages: count('outages'),
    deliveries: count('deliveries'),
    pulse: reader.prepare('SELECT wall_ms FROM pulse').pluck().get(),
  };
}

test('a routine observation waits for its group, which leaves the pulse', async () => {
  await opened.record.observe({ serviceId: 'shop', observation: answered(t0) });
  await opened.record.observe({ serviceId: 'nas', observation: answered(t0) });
  await opened.advance(groupCommitMs - 1);
  expect(inFile()).toEqual({ tail: 0, outages: 0, deliveries: 0, pulse: undefined });
  await opened.advance(1);
  expect(inFile()).toMatchObject({ tail: 2, pulse: t0 + groupCommitMs });
});

test('the pulse is left even when there is nothing to write, group after group', async () => {
  await opened.advance(3 * groupCommitMs);
  expect(inFile().pulse).toBe(t0 + 3 * groupCommitMs);
});

test('a change is in the file when its promise resolves, with all that waited and its notices', async () => {
  await opened.record.observe({ serviceId: 'shop', observation: answered(t0) });
  await opened.advance(5);
  await opened.record.commit(
    changes({
      observations: [{ serviceId: 'shop', observation: failed(t0 + 5) }],
      outages: [outage('shop', t0 + 5)],
      notices: [{ kind: 'add', notice: notice('n1') }],
    }),
  );
  expect(inFile()).toEqual({ tail: 2, outages: 1, deliveries: 1, pulse: t0 + 5 });
});

test('a flush writes what waits, with the pulse that it is given', async () => {
  await opened.record.observe({ serviceId: 'shop', observation: answered(t0) });
  await opened.record.flush(pulse(t0 + 3));
  expect(inFile()).toMatchObject({ tail: 1, pulse: t0 + 3 });
});

test('claims, attempts and disturbances are in the file at once', async () => {
  const { record } = opened;
  await record.commit(changes({ notices: [{ kind: 'add', notice: notice('n1') }] }));
  await record.claim('n1', 'phone', t0);
  const claimed = reader.prepare('SELECT claimed_at_ms FROM deliveries').pluck();
  expect(claimed.get()).toBe(t0);
  await record.disturbed({ at: t0, kind: 'started', byMs: 0 });
  expect(reader.prepare('SELECT count(*) FROM disturbances').pluck().get()).toBe(1);
});

test('what probes keep waits for its group, and only the newest of it', async () => {
  const words = () => reader.prepare('SELECT words FROM kept').pluck().all();
  for (const stamp of ['1', '2']) await opened.record.keep('stamp', stamp);
  expect(words()).toEqual([]);
  expect(opened.record.health().queuedCount).toBe(1);
  await opened.advance(groupCommitMs);
  expect(words()).toEqual(['2']);
  await opened.record.keep('stamp', '3');
  await opened.advance(groupCommitMs);
  expect(words()).toEqual(['3']);
});

test('what was told of itself is stored when it changes, and not with each observation', async () => {
  for (const version of ['15', '15', '15', '16', '16']) {
    const observation = answered(t0, { facts: { version } });
    await opened.record.observe({ serviceId: 'shop', observation });
    await opened.record.flush(pulse(t0));
  }
  expect(reader.prepare('SELECT json FROM facts ORDER BY number').pluck().all()).toEqual([
    '{"version":"15"}',
    '{"version":"16"}',
  ]);
  expect(await opened.record.observations('shop', always)).toHaveLength(5);
});
