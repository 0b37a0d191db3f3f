/** Finding observations in the tail again by service and time, in memory; and what is no longer part of it. */
import Database from 'better-sqlite3';
import fc from 'fast-check';
import { afterEach, beforeEach, expect, test } from 'vitest';
import type { Observation } from '../../src/base/values.ts';
import { factsStore } from '../../src/record/sqlite/facts.ts';
import { migrate, readMigrations } from '../../src/record/sqlite/migrate.ts';
import { sealingWrites } from '../../src/record/sqlite/sealing-write.ts';
import { serviceKeys } from '../../src/record/sqlite/services.ts';
import { type Tail, tailOf } from '../../src/record/sqlite/tail.ts';
import { answered, minute, t0 } from './support/values.ts';

let database: Database.Database;
beforeEach(() => {
  database = new Database(':memory:');
  migrate(database, readMigrations());
});
afterEach(() => database.close());

const opened = (): Tail => tailOf(database, serviceKeys(database), factsStore(database));
const keyOf = (serviceId: string): number => serviceKeys(database).known(serviceId) ?? 0;

function write(tail: Tail, entries: readonly (readonly [string, Observation])[]): void {
  database.transaction(() => {
    for (const [serviceId, observation] of entries) tail.add({ serviceId, observation });
  })();
  tail.settle(true);
}

/** Groups as they are written, with instants in minutes from t0. */
const groups = fc.array(
  fc.array(
    fc.record({ service: fc.constantFrom('a', 'b', 'c'), at: fc.integer({ min: 0, max: 600 }) }),
    {
      minLength: 1,
      maxLength: 6,
    },
  ),
  { maxLength: 12 },
);

test('every read gives what a walk over all observations gives, also after opening again', () => {
  const range = fc.tuple(fc.integer({ min: -10, max: 620 }), fc.integer({ min: 0, max: 300 }));
  const countMax = fc.oneof(fc.constant(Number.POSITIVE_INFINITY), fc.integer({ min: 0, max: 5 }));
  fc.assert(
    fc.property(
      groups,
      range,
      countMax,
      fc.nat({ max: 12 }),
      (written, [from, length], most, at) => {
        for (const table of ['tail', 'facts', 'services']) {
          database.exec(`DELETE FROM ${table}`);
        }
        let tail = opened();
        written.forEach((group, place) => {
          if (place === at) tail = opened();
          write(
            tail,
            group.map(({ service, at: minutes }) => [service, answered(t0 + minutes * minute)]),
          );
        });
        const span = { from: t0 + from * minute, to: t0 + (from + length) * minute };
        for (const service of ['a', 'b', 'c']) {
          const all = written
            .flat()
            .filter((one) => one.service === service)
            .map((one) => t0 + one.at * minute);
          const expected = all
            .filter((instant) => instant >= span.from && instant < span.to)
            .sort((one, other) => one - other);
          for (const reading of [tail, opened()]) {
            const found = reading.rows(keyOf(service), span, most).map((one) => one.at);
            expect(found).toEqual(expected.slice(Math.max(expected.length - most, 0)));
            const shown: number[] = [];
            reading.each(keyOf(service), span, (instant) => shown.push(instant));
            expect(shown.sort((one, other) => one - other)).toEqual(expected);
            expect(reading.newest(service)?.at).toBe(all.at(-1));
          }
        }
      },
    ),
    { numRuns: 150 },
  );
});

test('rows that are in chunks are no longer part of it, whether or not they are deleted yet', () => {
  const tail = opened();
  write(tail, [
    ['a', answered(t0)],
    ['b', answered(t0 + 1)],
    ['a', answered(t0 + 2, { facts: { version: 'two' } })],
    ['b', answered(t0 + 3)],
  ]);
  const writes = sealingWrites(database);
  const moved = [{ service: keyOf('a'), seq: 3 }];
  writes.chunks({ chunks: [], moved });
  tail.left(moved);
  for (const deleted of [false, true]) {
    if (deleted) writes.clear(1, 4);
    expect(database.prepare('SELECT count(*) FROM tail').pluck().get()).toBe(deleted ? 2 : 4);
    for (const reading of [tail, opened()]) {
      expect(reading.count()).toBe(2);
      expect(reading.servicesCount()).toBe(1);
      expect(reading.instants(keyOf('a'))).toEqual([]);
      expect(reading.instants(keyOf('b'))).toEqual([t0 + 1, t0 + 3]);
      expect(reading.newest('a')).toEqual(answered(t0 + 2, { facts: { version: 'two' } }));
    }
  }
});

test('rows are counted on when all of it was put away: none is taken for an old one', () => {
  const tail = opened();
  write(tail, [['a', answered(t0)]]);
  const moved = [{ service: keyOf('a'), seq: 1 }];
  const writes = sealingWrites(database);
  writes.chunks({ chunks: [], moved });
  writes.clear(1, 1);
  const again = opened();
  write(again, [['a', answered(t0 + 1)]]);
  for (const reading of [again, opened()]) {
    expect(reading.instants(keyOf('a'))).toEqual([t0 + 1]);
    expect(reading.newest('a')).toEqual(answered(t0 + 1));
  }
});

test('what a transaction that was undone had added is forgotten', () => {
  const tail = opened();
  write(tail, [['a', answered(t0, { facts: { version: 'one' } })]]);
  const undone = () =>
    database.transaction(() => {
      const facts = { version: 'two' };
      tail.add({ serviceId: 'a', observation: answered(t0 + 1, { facts }) });
      throw new Error('the disk is full');
    })();
  expect(undone).toThrow('the disk is full');
  tail.settle(false);
  const again = answered(t0 + 2, { facts: { version: 'two' } });
  write(tail, [['a', again]]);
  for (const reading of [tail, opened()]) {
    expect(reading.instants(keyOf('a'))).toEqual([t0, t0 + 2]);
    expect(reading.newest('a')).toEqual(again);
  }
});
