/** Change sets that come close together are written together, in order, and none is lost for another. */
import { beforeEach, expect, test } from 'vitest';
import { RollcallError } from '../../src/base/errors.ts';
import { gatheringRecord, joined } from '../../src/record/gathered.ts';
import type { ChangeSet, Record } from '../../src/record/record.ts';
import { type SimulatedClock, simulatedClock } from '../support/clock-simulated.ts';
import { memoryRecord } from '../support/record-memory.ts';
import { changes, t0 } from './support/values.ts';

let clock: SimulatedClock;
let groups: string[][];
let record: Record;
/** What a commit does beside being noted. */
let commit: (set: ChangeSet) => Promise<void>;

const keeping = (name: string) => changes({ keeps: [{ name, words: '1' }] });
const namesOf = (set: ChangeSet) => (set.keeps ?? []).map(({ name }) => name);

beforeEach(() => {
  clock = simulatedClock({ wallMs: t0 });
  groups = [];
  commit = async () => {};
  const inner: Record = {
    ...memoryRecord(),
    commit: async (set) => {
      groups.push(namesOf(set));
      await commit(set);
    },
  };
  record = gatheringRecord(inner, clock);
});

/** A disk that takes so long for each commit. */
const slowDisk = (ms: number) => async () =>
  new Promise<void>((resolve) => void clock.after(ms, resolve));

test('one that is alone is written at once', async () => {
  await record.commit(keeping('a'));
  await record.commit(keeping('b'));
  expect(groups).toEqual([['a'], ['b']]);
});

test('those that come while the disk works are written together, in order, after a rest', async () => {
  commit = slowDisk(10);
  const all = ['a', 'b', 'c', 'd'].map((name) => record.commit(keeping(name)));
  expect(groups).toEqual([['a']]);
  await clock.advance(10);
  expect(groups).toEqual([['a']]);
  await clock.advance(39);
  expect(groups).toEqual([['a']]);
  await clock.advance(1);
  expect(groups).toEqual([['a'], ['b', 'c', 'd']]);
  await clock.advance(10);
  await Promise.all(all);
});

test('however slow the disk is, nothing waits for more than a second', async () => {
  commit = slowDisk(60_000);
  void record.commit(keeping('a'));
  void record.commit(keeping('b'));
  await clock.advance(60_000 + 1_000);
  expect(groups).toEqual([['a'], ['b']]);
});

test('a set that is refused for what is in it leaves the others as they are', async () => {
  commit = async (set) => {
    await slowDisk(1)();
    if (namesOf(set).includes('bad')) throw new Error('A value is not whole.');
  };
  const [first, good, bad, after] = ['first', 'good', 'bad', 'after'].map((name) => {
    return record.commit(keeping(name)).then(
      () => 'written',
      (thrown: Error) => thrown.message,
    );
  });
  await clock.advance(100);
  expect(await Promise.all([first, good, bad, after])).toEqual([
    'written',
    'written',
    'A value is not whole.',
    'written',
  ]);
  expect(groups).toEqual([['first'], ['good', 'bad', 'after'], ['good'], ['bad'], ['after']]);
});

test('a record that cannot be written is told to all, and nothing is tried twice', async () => {
  commit = async () => {
    await slowDisk(1)();
    throw new RollcallError('data-folder-unusable', 'The disk is full. The change waits.');
  };
  const all = ['a', 'b', 'c'].map((name) => record.commit(keeping(name)));
  const told = Promise.allSettled(all);
  await clock.advance(100);
  expect((await told).map(({ status }) => status)).toEqual(['rejected', 'rejected', 'rejected']);
  expect(groups).toEqual([['a'], ['b', 'c']]);
});

test('nothing of a set is left out when it is joined with others', () => {
  const whole: Required<ChangeSet> = {
    observations: [],
    memories: [],
    spans: [{ serviceId: 'shop', edits: [] }],
    outages: [],
    unconfirmed: [],
    notices: [{ kind: 'fold', serviceIds: ['shop'], into: 'x' }],
    planned: [],
    known: [{ outageId: 'shop.a', at: t0 }],
    runs: [],
    keeps: [{ name: 'a', words: '1' }],
  };
  expect(joined([whole, changes({})])).toEqual(whole);
  expect(joined([whole])).toBe(whole);
});
