/** Finding observations in the tail again by time, without reading the whole of it. */
import Database from 'better-sqlite3';
import fc from 'fast-check';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import type { Observation } from '../../src/base/values.ts';
import { hourIndex } from '../../src/record/sqlite/hours.ts';
import { migrate, readMigrations } from '../../src/record/sqlite/migrate.ts';
import { serviceKeys } from '../../src/record/sqlite/services.ts';
import { type Tail, tailOf } from '../../src/record/sqlite/tail.ts';
import { always, answered, hour, minute, t0 } from './support/values.ts';

let database: Database.Database;
beforeEach(() => {
  database = new Database(':memory:');
  migrate(database, readMigrations());
});
afterEach(() => database.close());

const opened = (): Tail => tailOf(database, serviceKeys(database));

function write(tail: Tail, entries: readonly (readonly [string, Observation])[]): void {
  database.transaction(() => {
    for (const [serviceId, observation] of entries) tail.add({ serviceId, observation });
    tail.save();
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
        for (const table of ['tail', 'tail_hours', 'facts', 'services']) {
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
            const found = reading.read(service, span, most).map((one) => one.at);
            expect(found).toEqual(expected.slice(Math.max(expected.length - most, 0)));
            expect(reading.newest(service)?.at).toBe(all.at(-1));
          }
        }
      },
    ),
    { numRuns: 150 },
  );
});

describe('the hours', () => {
  const index = () => hourIndex(database);
  const day = (hours: ReturnType<typeof index>) =>
    hours
      .within({ from: t0, to: t0 + 2 * hour })
      .map(({ firstSeq, lastSeq, from, to }) => [
        firstSeq,
        lastSeq,
        (from - t0) / hour,
        (to - t0) / hour,
      ]);

  test('lead to a narrow part of the tail, the newest first, and to nothing outside of the range', () => {
    const tail = opened();
    write(
      tail,
      Array.from({ length: 600 }, (_, place) => ['a', answered(t0 + place * minute)] as const),
    );
    expect(day(index())).toEqual([
      [61, 120, 1, 2],
      [1, 60, 0, 1],
    ]);
    const half = index().within({ from: t0 + 90 * minute, to: t0 + 100 * minute });
    expect(half).toEqual([
      { firstSeq: 61, lastSeq: 120, from: t0 + 90 * minute, to: t0 + 100 * minute },
    ]);
    expect(index().within({ from: t0 - 2 * hour, to: t0 })).toEqual([]);
  });

  test('are saved once an hour, and what came since is found when the record is opened', () => {
    const tail = opened();
    const saved = () => database.prepare('SELECT count(*) FROM tail_hours').pluck().get();
    write(tail, [['a', answered(t0)]]);
    expect(saved()).toBe(1);
    write(tail, [['a', answered(t0 + minute)]]);
    write(tail, [['a', answered(t0 + 2 * minute)]]);
    expect(database.prepare('SELECT last_seq FROM tail_hours').pluck().all()).toEqual([1]);
    expect(day(index())).toEqual([[1, 3, 0, 1]]);
    write(tail, [['a', answered(t0 + hour)]]);
    expect(database.prepare('SELECT last_seq FROM tail_hours').pluck().all()).toEqual([3, 4]);
    expect(day(index())).toEqual([
      [4, 4, 1, 2],
      [1, 3, 0, 1],
    ]);
  });

  test('forget what a transaction that was undone had noted', () => {
    const tail = opened();
    write(tail, [['a', answered(t0, { facts: { version: 'one' } })]]);
    const undone = () =>
      database.transaction(() => {
        tail.add({ serviceId: 'b', observation: answered(t0 + hour) });
        tail.add({
          serviceId: 'a',
          observation: answered(t0 + hour, { facts: { version: 'two' } }),
        });
        tail.save();
        throw new Error('the disk is full');
      })();
    expect(undone).toThrow('the disk is full');
    tail.settle(false);
    const again = answered(t0 + hour, { facts: { version: 'two' } });
    write(tail, [['a', again]]);
    expect(tail.read('a', always, 1)).toEqual([again]);
    expect(opened().read('a', always, 1)).toEqual([again]);
  });
});
