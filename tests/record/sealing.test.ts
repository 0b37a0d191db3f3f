/** Sealing by example: what becomes due, what is damaged, what is forgotten, and what lies where. */
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { sealDelayMs } from '../../src/base/limits.ts';
import { type Log, silentLog } from '../../src/base/log.ts';
import type { Observation } from '../../src/base/values.ts';
import { stepsOf } from '../../src/uptime/quantiles.ts';
import { openSealed, type SealedRecord, temporaryRecord } from './support/sealing.ts';
import { always, answered, failed, hour, minute, t0 } from './support/values.ts';

const day = 24 * hour;
const midnight = Math.floor(t0 / day) * day;

let files: ReturnType<typeof temporaryRecord>;
let record: SealedRecord;
let said: unknown[];
beforeEach(() => {
  files = temporaryRecord();
  said = [];
  const log: Log = {
    ...silentLog,
    error: (values, message) => void said.push({ ...values, message }),
  };
  record = openSealed(files.path, { rowsMax: 1_000, log });
});
afterEach(() => {
  record.close();
  files.end();
});

const count = (table: string) =>
  record.database.prepare(`SELECT count(*) FROM ${table}`).pluck().get();
const write = (serviceId: string, observations: readonly Observation[]): void => {
  record.write(observations.map((observation) => ({ serviceId, observation })));
};
/** A whole day of a service, every minute. */
const wholeDay = (nth: number, version = 'one') =>
  Array.from({ length: 1_440 }, (_, place) =>
    answered(midnight + nth * day + place * minute, {
      tookUs: 400 + (place % 90),
      facts: { version },
    }),
  );
const atsOf = async (serviceId: string) =>
  (await record.observations(serviceId, always)).map(({ at }) => at);

describe('a day', () => {
  test('is sealed when it has been over for a while, and not before', async () => {
    write('shop', [answered(midnight), answered(midnight + day)]);
    const over = midnight + day + sealDelayMs;
    expect(await record.sealing.seal(over - 1)).toEqual({ sealedDaysCount: 0 });
    expect([count('tail'), count('chunks'), count('sealed_days')]).toEqual([2, 0, 0]);
    expect(await record.sealing.seal(over)).toEqual({ sealedDaysCount: 1 });
    expect([count('tail'), count('chunks'), count('sealed_days')]).toEqual([0, 1, 1]);
    expect(await record.sealing.seal(over)).toEqual({ sealedDaysCount: 0 });
    expect(await record.sealing.seal(over + day)).toEqual({ sealedDaysCount: 1 });
    expect(await atsOf('shop')).toEqual([midnight, midnight + day]);
  });

  test('of many is caught up in one go', async () => {
    for (const serviceId of ['shop', 'nas', 'wiki']) {
      for (let nth = 0; nth < 40; nth++) write(serviceId, [answered(midnight + nth * day)]);
    }
    expect(await record.sealing.seal(midnight + 50 * day)).toEqual({ sealedDaysCount: 120 });
    expect([count('tail'), count('chunks'), count('sealed_days')]).toEqual([0, 0, 120]);
    expect(await atsOf('nas')).toHaveLength(40);
  });

  test('that is long, because its service is asked every second, is one piece of the record like any other', async () => {
    const observations = Array.from({ length: 86_400 }, (_, place) => {
      // Nothing of it repeats, so that little can be won by packing it.
      const noise = (place * 2_654_435_761) % 4_294_967_296;
      return failed(midnight + place * 1_000 + (noise % 900), { tookUs: noise });
    });
    write('shop', observations);
    await record.sealing.seal(midnight + 2 * day);
    expect(count('sealed_days')).toBe(1);
    expect(await record.observations('shop', always)).toEqual(observations);
  });

  test('is not sealed again for nothing, and again when something of it comes late', async () => {
    write('shop', [answered(midnight)]);
    write('nas', [answered(midnight)]);
    await record.sealing.seal(midnight + 2 * day);
    write('shop', [answered(midnight + hour)]);
    expect(await record.sealing.seal(midnight + 2 * day)).toEqual({ sealedDaysCount: 1 });
    expect(count('sealed_days')).toBe(2);
    expect(await atsOf('shop')).toEqual([midnight, midnight + hour]);
    expect(await atsOf('nas')).toEqual([midnight]);
  });
});

describe('the tail', () => {
  test('stays as it is until it has grown long; then all of it is put away', async () => {
    write('shop', wholeDay(0).slice(0, 1_000));
    await record.sealing.lookAfter();
    expect([count('tail'), count('chunks')]).toEqual([1_000, 0]);
    write('nas', [answered(midnight)]);
    await record.sealing.lookAfter();
    expect([count('tail'), count('chunks')]).toEqual([0, 2]);
    expect(record.store.tail.count()).toBe(0);
  });

  test('keeps what comes while it is put away', async () => {
    record.close();
    const late = answered(midnight + hour);
    record = openSealed(files.path, { rowsMax: 1, handedOver: () => write('shop', [late]) });
    write('shop', [answered(midnight), answered(midnight + 1)]);
    await record.sealing.lookAfter();
    expect([count('tail'), count('chunks')]).toEqual([1, 1]);
    expect(await atsOf('shop')).toEqual([midnight, midnight + 1, late.at]);
  });

  test('is exact to the microsecond in steps', async () => {
    const observations = wholeDay(0).slice(0, 60);
    write('shop', observations);
    const range = { from: midnight, to: midnight + hour };
    const asked = { ...range, stepMs: 7 * minute };
    expect(await record.steps('shop', range, asked.stepMs)).toEqual(
      stepsOf({ observations, ...asked }),
    );
  });

  test('that cannot be put away is said to be so once, and the next time is tried again', async () => {
    write('shop', wholeDay(0));
    record.database.pragma('query_only = ON');
    for (let nth = 0; nth < 3; nth++) await record.sealing.lookAfter();
    expect(said).toMatchObject([{ message: 'the record is not kept short' }]);
    await expect(record.sealing.seal(midnight + 9 * day)).rejects.toMatchObject({
      code: 'upkeep-failed',
      message: expect.stringContaining('read-only'),
    });
    record.database.pragma('query_only = OFF');
    await record.sealing.lookAfter();
    expect(record.store.tail.count()).toBe(0);
    expect(await atsOf('shop')).toHaveLength(1_440);
  });
});

describe('a block that changed since it was written', () => {
  /** Turns one bit. */
  const spoil = (table: string, key: number, place: number): void => {
    const bytes = record.database
      .prepare(`SELECT bytes FROM ${table} WHERE key = ?`)
      .pluck()
      .get(key) as Buffer;
    bytes[place]! ^= 1;
    record.database.prepare(`UPDATE ${table} SET bytes = ? WHERE key = ?`).run(bytes, key);
  };
  /** In the first sealed day, all of which lies in the first piece. */
  const spoilDay = (part: 'sketches' | 'columns'): void => {
    const day = record.database
      .prepare(
        'SELECT sketches_bytes AS sketches, bytes_count AS bytes FROM sealed_days ORDER BY key',
      )
      .get() as { sketches: number; bytes: number };
    const [from, to] = part === 'sketches' ? [0, day.sketches] : [day.sketches, day.bytes];
    spoil('sealed_pieces', firstKey('sealed_pieces'), (from + to) >> 1);
  };
  const firstKey = (table: string) =>
    Number(record.database.prepare(`SELECT min(key) FROM ${table}`).pluck().get());

  test('is left out of every read, and said to be damaged once; the other days are shown', async () => {
    for (const nth of [0, 1, 2]) write('shop', wholeDay(nth));
    await record.sealing.seal(midnight + 5 * day);
    const range = { from: midnight, to: midnight + 3 * day };
    const stepped = async (stepMs: number) =>
      (await record.steps('shop', range, stepMs)).reduce((sum, step) => sum + step.count, 0);
    spoilDay('columns');
    expect(await atsOf('shop')).toHaveLength(2 * 1_440);
    expect(await stepped(hour)).toBe(2 * 1_440);
    // The sketches have a checksum of their own, and that one holds.
    expect(await stepped(day)).toBe(3 * 1_440);
    spoilDay('sketches');
    expect(await stepped(day)).toBe(2 * 1_440);
    expect((await record.latencies('shop', range)).counts.answered).toBe(2 * 1_440);
    expect(said).toEqual([
      expect.objectContaining({
        kind: 'sealed day',
        message: 'a part of the record is damaged, and left out',
      }),
    ]);
  });

  test.each([
    'first_at_ms',
    'day',
    'answered',
    'failed',
    'least_facts',
    'columns_crc',
    'crc',
    'sketches_bytes',
  ])('is left out also where it changed beside its bytes: %s', async (column) => {
    write('shop', wholeDay(0));
    await record.sealing.seal(midnight + 5 * day);
    record.database.exec(`UPDATE sealed_days SET ${column} = ${column} + 1`);
    expect(await atsOf('shop')).toEqual([]);
    expect((await record.latencies('shop', always)).counts.answered).toBe(0);
    // One that is found under another day is looked for nowhere; the look through the whole record finds it.
    expect(said).toHaveLength(column === 'day' ? 0 : 1);
  });

  test('is not sealed over: all that there is of its day stays, for who may mend it', async () => {
    write('shop', wholeDay(0));
    await record.sealing.seal(midnight + 5 * day);
    spoilDay('columns');
    write('shop', [failed(midnight + 1)]);
    write('nas', [failed(midnight + 1)]);
    expect(await record.sealing.seal(midnight + 5 * day)).toEqual({ sealedDaysCount: 1 });
    expect([count('sealed_days'), count('chunks')]).toEqual([2, 1]);
    expect(await atsOf('shop')).toEqual([midnight + 1]);
    spoilDay('columns');
    await record.sealing.seal(midnight + 5 * day);
    expect(await atsOf('shop')).toHaveLength(1_441);
  });

  test('may be a chunk', async () => {
    write('shop', wholeDay(0));
    await record.sealing.lookAfter();
    write('shop', wholeDay(1));
    await record.sealing.lookAfter();
    spoil('chunks', firstKey('chunks'), 50);
    expect(await atsOf('shop')).toEqual(wholeDay(1).map(({ at }) => at));
    expect(said).toMatchObject([{ kind: 'chunk' }]);
  });
});

describe('what is forgotten', () => {
  test('are the days that ended by then, with all their bytes', async () => {
    for (const nth of [0, 1, 2]) write('shop', wholeDay(nth));
    for (const nth of [0, 2]) write('nas', wholeDay(nth));
    // Each day in a volume of its own, but for the services that share it.
    for (const nth of [1, 2, 3]) await record.sealing.seal(midnight + nth * day + sealDelayMs);
    const bytes = Number(count('sealed_pieces'));
    expect(await record.sealing.prune(midnight + 2 * day - 1)).toEqual({ prunedDaysCount: 2 });
    expect(await atsOf('shop')).toHaveLength(2 * 1_440);
    expect(await atsOf('nas')).toHaveLength(1_440);
    expect(await record.sealing.prune(midnight + 2 * day)).toEqual({ prunedDaysCount: 1 });
    expect(Number(count('sealed_pieces'))).toBeLessThan(bytes / 2);
    expect(await record.sealing.prune(midnight + 9 * day)).toEqual({ prunedDaysCount: 2 });
    expect([count('sealed_days'), count('sealed_pieces')]).toEqual([0, 0]);
    expect(record.store.tail.newest('shop')).toEqual(wholeDay(2).at(-1));
  });

  test('is not what is not sealed yet', async () => {
    write('shop', wholeDay(0));
    await record.sealing.lookAfter();
    expect(await record.sealing.prune(midnight + 9 * day)).toEqual({ prunedDaysCount: 0 });
    expect(await atsOf('shop')).toHaveLength(1_440);
  });

  test('is also what a service told of itself, when nothing refers to it any more', async () => {
    const facts = () =>
      record.database.prepare('SELECT json FROM facts ORDER BY number').pluck().all();
    write('shop', wholeDay(0, 'one'));
    write('shop', wholeDay(1, 'two'));
    await record.sealing.seal(midnight + 5 * day);
    write('shop', [answered(midnight + 2 * day, { facts: { version: 'three' } })]);
    await record.sealing.prune(midnight + day);
    expect(facts()).toEqual(['{"version":"two"}', '{"version":"three"}']);
    await record.sealing.prune(midnight + 2 * day);
    // The last row that left the tail is still known, with what was told then.
    expect(facts()).toEqual(['{"version":"two"}', '{"version":"three"}']);
    await record.sealing.seal(midnight + 9 * day);
    await record.sealing.prune(midnight + 9 * day);
    expect(facts()).toEqual(['{"version":"three"}']);
    write('shop', [answered(midnight + 9 * day, { facts: { version: 'four' } })]);
    expect(record.store.tail.newest('shop')?.facts).toEqual({ version: 'four' });
  });
});
