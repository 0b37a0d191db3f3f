/** The timetable under a simulated clock: phases, limits, early turns, an orderly end. */
import { describe, expect, test } from 'vitest';
import { type Entry, Timetable, type Wish } from '../../src/schedule/timetable.ts';
import { simulatedClock } from '../support/clock-simulated.ts';

const inTurn: Wish = { againInMs: null, restMs: null, alsoNow: [] };

interface Start {
  readonly id: string;
  readonly atMs: number;
}

function house(given: {
  tookMs?: number;
  wish?: (id: string, nth: number) => Wish;
  concurrentMax?: number;
}) {
  const clock = simulatedClock({ wallMs: 1_700_000_000_000 });
  const starts: Start[] = [];
  let running = 0;
  let runningMax = 0;
  const under = new Set<string>();
  const timetable = new Timetable({
    clock,
    ...(given.concurrentMax === undefined ? {} : { concurrentMax: given.concurrentMax }),
    onDefect: (_id, thrown) => {
      throw thrown;
    },
    round: async (id) => {
      expect(under.has(id)).toBe(false);
      under.add(id);
      runningMax = Math.max(runningMax, ++running);
      starts.push({ id, atMs: clock.monotonicMs() });
      const nth = starts.filter((start) => start.id === id).length;
      if (given.tookMs) await new Promise<void>((done) => clock.after(given.tookMs ?? 0, done));
      running--;
      under.delete(id);
      return given.wish?.(id, nth) ?? inTurn;
    },
  });
  const of = (id: string) => starts.filter((start) => start.id === id).map(({ atMs }) => atMs);
  return { clock, timetable, starts, of, runningMax: () => runningMax };
}

const entry = (id: string, everyMs = 30_000, minGapMs = 0): Entry => ({ id, everyMs, minGapMs });
const many = (count: number) => Array.from({ length: count }, (_, nth) => entry(`service-${nth}`));

test('every service has its first turn within a quarter of the five seconds that first answers may take', async () => {
  const { clock, timetable, starts } = house({});
  timetable.replace(many(100));
  await clock.advance(1_250);
  expect(new Set(starts.map(({ id }) => id)).size).toBe(100);
});

test('where there are very many, no second brings more first turns than the machine can take', async () => {
  const { clock, timetable, starts } = house({});
  timetable.replace(many(3_000));
  await clock.advance(10_000);
  const firsts = new Map<string, number>();
  for (const { id, atMs } of starts) if (!firsts.has(id)) firsts.set(id, atMs);
  const bySecond = Array.from({ length: 10 }, (_, second) => {
    const begunMs = Math.min(...firsts.values());
    return [...firsts.values()].filter((at) => Math.floor((at - begunMs) / 1_000) === second)
      .length;
  });
  expect(firsts.size).toBe(3_000);
  // 300 a second on average; hashed places leave some more than others.
  expect(Math.max(...bySecond)).toBeLessThan(380);
});

test('first turns that would take all of the interval are the places on the grid themselves', async () => {
  const { clock, timetable, starts } = house({});
  timetable.replace(many(9_500));
  await clock.advance(31_000);
  const turns = new Map<string, number>();
  for (const { id } of starts) turns.set(id, (turns.get(id) ?? 0) + 1);
  expect(turns.size).toBe(9_500);
  expect(starts.length).toBeLessThan(9_500 * 1.05);
});

test('starts are spread over the interval, and each keeps its own phase', async () => {
  const { clock, timetable, of, starts } = house({});
  timetable.replace(many(60));
  await clock.advance(10 * 30_000);
  const phases = new Set<number>();
  for (let nth = 0; nth < 60; nth++) {
    const turns = of(`service-${nth}`).slice(1);
    const steps = new Set(turns.slice(1).map((atMs, index) => atMs - (turns[index] ?? 0)));
    expect([...steps]).toEqual([30_000]);
    phases.add(Math.floor((((turns[0] ?? 0) % 30_000) / 30_000) * 10));
  }
  // Ten tenths of the interval, all in use: 60 hashed phases leave a given tenth empty once in 500 such sets.
  expect(phases.size).toBe(10);
  expect(starts.length).toBeGreaterThanOrEqual(600);
});

test('phases are the same after a restart at another time', async () => {
  const turnOf = async (delayMs: number) => {
    const { clock, timetable, of } = house({});
    await clock.advance(delayMs);
    timetable.replace([entry('shop')]);
    await clock.advance(120_000);
    return (of('shop').at(-1) ?? 0) % 30_000;
  };
  expect(await turnOf(0)).toBe(await turnOf(77_777));
});

test('no more than the limit run at once, and all have their turn', async () => {
  const { clock, timetable, starts, runningMax } = house({ tookMs: 1_000, concurrentMax: 4 });
  timetable.replace(many(20));
  await clock.advance(8_000);
  expect(runningMax()).toBe(4);
  expect(new Set(starts.map(({ id }) => id)).size).toBe(20);
});

test('a service in doubt is asked again early, and what it needs at once', async () => {
  const wish = (id: string, nth: number): Wish =>
    id === 'shop' && nth === 2 ? { againInMs: 5_000, restMs: null, alsoNow: ['nas'] } : inTurn;
  const { clock, timetable, of } = house({ wish });
  timetable.replace([entry('shop'), entry('nas', 3_600_000)]);
  await clock.advance(120_000);
  const [, second = 0, third = 0] = of('shop');
  expect(third - second).toBeLessThanOrEqual(5_000);
  expect(of('nas')).toContain(second);
});

test('least gaps between two rounds hold for early turns too', async () => {
  const { clock, timetable, of } = house({
    wish: () => ({ againInMs: 100, restMs: null, alsoNow: [] }),
  });
  timetable.replace([entry('vpn', 30_000, 5_000)]);
  await clock.advance(60_000);
  const turns = of('vpn');
  turns.slice(1).forEach((atMs, index) => {
    expect(atMs - (turns[index] ?? 0)).toBeGreaterThanOrEqual(5_000);
  });
  expect(turns.length).toBeGreaterThan(8);
});

test('a service that wants rest gets it, also from what others ask; the owner may ask all the same', async () => {
  const wish = (id: string): Wish =>
    id === 'db'
      ? { againInMs: null, restMs: 240_000, alsoNow: [] }
      : { againInMs: null, restMs: null, alsoNow: ['db'] };
  const { clock, timetable, of } = house({ wish });
  timetable.replace([entry('shop'), entry('db')]);
  await clock.advance(1_250);
  const [first = 0] = of('db');
  await clock.advance(230_000);
  expect(of('db')).toEqual([first]);
  const asked = timetable.askNow('db');
  await clock.advance(1);
  await asked;
  expect(of('db')).toHaveLength(2);
  await clock.advance(300_000);
  const [, second = 0, third = 0] = of('db');
  expect(third - second).toBeGreaterThanOrEqual(240_000);
  expect(third - second).toBeLessThanOrEqual(270_000);
});

describe('asking now', () => {
  test('waits for a round that begins after the call, also when one is under way', async () => {
    const { clock, timetable, of } = house({ tookMs: 1_000 });
    timetable.replace([entry('shop')]);
    await clock.advance(1_251);
    expect(of('shop')).toHaveLength(1);
    let answeredAtMs = 0;
    const asked = timetable.askNow('shop').then(() => {
      answeredAtMs = clock.monotonicMs();
    });
    await clock.advance(5_000);
    await asked;
    expect(of('shop')).toHaveLength(2);
    expect(answeredAtMs).toBeGreaterThanOrEqual((of('shop')[1] ?? 0) + 1_000);
  });

  test('is over at once for an unknown service', async () => {
    const { timetable } = house({});
    await expect(timetable.askNow('nobody')).resolves.toBeUndefined();
  });
});

test('a defect in one round is reported and stops nothing', async () => {
  const clock = simulatedClock({ wallMs: 0 });
  const defects: string[] = [];
  let good = 0;
  const timetable = new Timetable({
    clock,
    onDefect: (id) => defects.push(id),
    round: (id) => {
      if (id === 'bad') return Promise.reject(new Error('broken'));
      good++;
      return Promise.resolve(inTurn);
    },
  });
  timetable.replace([entry('bad', 1_000), entry('good', 1_000)]);
  await clock.advance(5_000);
  expect(defects.length).toBeGreaterThanOrEqual(4);
  expect(good).toBeGreaterThanOrEqual(4);
});

test('replacing keeps the turn of what stays, and forgets what goes', async () => {
  const { clock, timetable, of } = house({});
  timetable.replace([entry('shop'), entry('old')]);
  await clock.advance(60_000);
  const asked = of('old').length;
  timetable.replace([entry('shop'), entry('new')]);
  await clock.advance(60_000);
  expect(of('old')).toHaveLength(asked);
  const turns = of('shop').slice(1);
  expect(new Set(turns.slice(1).map((atMs, index) => atMs - (turns[index] ?? 0)))).toEqual(
    new Set([30_000]),
  );
  expect(of('new').length).toBeGreaterThanOrEqual(2);
});

test('stopping begins no more rounds and waits for those under way', async () => {
  const { clock, timetable, starts } = house({ tookMs: 2_000 });
  timetable.replace(many(5));
  await clock.advance(1_250);
  let stopped = false;
  const end = timetable.stop().then(() => {
    stopped = true;
  });
  await clock.advance(100);
  expect(stopped).toBe(false);
  await clock.advance(2_000);
  await end;
  const count = starts.length;
  await clock.advance(120_000);
  expect(starts).toHaveLength(count);
  expect(clock.pending()).toBe(0);
});

test('whoever stops it hears of the end, however many they are', async () => {
  const { clock, timetable } = house({ tookMs: 500 });
  timetable.replace(many(3));
  await clock.advance(1_250);
  const both = Promise.all([timetable.stop(), timetable.stop()]);
  await clock.advance(1_000);
  await expect(both).resolves.toEqual([undefined, undefined]);
});

test('what is left of a least gap when it begins is waited for', async () => {
  const { clock, timetable, of } = house({});
  timetable.replace([{ ...entry('vpn', 30_000, 5_000), waitMs: 4_000 }]);
  await clock.advance(3_999);
  expect(of('vpn')).toEqual([]);
  await clock.advance(1);
  expect(of('vpn')).toHaveLength(1);
});

test('a step of the wall clock neither floods nor starves: turns go on by the monotonic clock', async () => {
  const { clock, timetable, of } = house({});
  timetable.replace([entry('shop')]);
  await clock.advance(90_000);
  const before = of('shop').length;
  clock.step(-3_600_000);
  await clock.advance(90_000);
  clock.step(7_200_000);
  await clock.advance(90_000);
  const after = of('shop').length - before;
  expect(after).toBeGreaterThanOrEqual(5);
  expect(after).toBeLessThanOrEqual(8);
});

test('how late rounds begin is counted; an orderly day is never late', async () => {
  const { clock, timetable } = house({ tookMs: 100 });
  timetable.replace(many(10));
  await clock.advance(10 * 30_000);
  expect(timetable.lateness()).toMatchObject({ maxMs: 0, skippedCount: 0 });
  expect(timetable.lateness().startsCount).toBeGreaterThanOrEqual(100);
});

test('with too few places rounds begin late, and say how late', async () => {
  const { clock, timetable, of } = house({ tookMs: 4_000, concurrentMax: 1 });
  timetable.replace([entry('first'), entry('second')]);
  await clock.advance(20_000);
  const [one = 0, other = 0] = [...of('first'), ...of('second')].sort((a, b) => a - b);
  expect(other - one).toBe(4_000);
  const { maxMs } = timetable.lateness();
  expect(maxMs).toBeGreaterThan(2_500);
  expect(maxMs).toBeLessThanOrEqual(4_000);
});

test('an alarm is set again only for what comes sooner', async () => {
  const { clock, timetable } = house({});
  let alarms = 0;
  const { after } = clock;
  clock.after = (delayMs, then) => {
    alarms++;
    return after(delayMs, then);
  };
  timetable.replace(many(100));
  await clock.advance(60_000);
  // A round takes no time here: one alarm for each start, none for its end.
  expect(alarms).toBeLessThanOrEqual(timetable.lateness().startsCount + 1);
});
