/** Planned time as it goes by, under the simulated clock: what goes on record when, what is told, and over restarts. */
import { describe, expect, test } from 'vitest';
import { silentLog } from '../src/base/log.ts';
import type { Standing } from '../src/base/standing.ts';
import type { PlannedRule, PlannedWindow } from '../src/base/values.ts';
import { Planned } from '../src/planned.ts';
import type { Notice } from '../src/record/record.ts';
import type { ChannelChoice } from '../src/tell/channel.ts';
import { type SimulatedClock, simulatedClock } from './support/clock-simulated.ts';
import { type MemoryRecord, memoryRecord } from './support/record-memory.ts';
import { card } from './support/telling.ts';

const minuteMs = 60_000;
const hourMs = 60 * minuteMs;
const dayMs = 24 * hourMs;
/** A Saturday. */
const saturday = Date.parse('2026-10-24T12:00:00Z');

const sunday: PlannedRule = {
  kind: 'schedule',
  name: 'Sunday updates',
  why: null,
  serviceIds: ['order-book'],
  schedule: '0 4 * * 0',
  timezone: 'Europe/Dublin',
  lastsMs: 45 * minuteMs,
};
const cards = [card('order-book'), card('shop')];
const up: Standing = {
  state: 'up',
  since: saturday - dayMs,
  suspect: false,
  unsteady: false,
  causeId: null,
  hiddenBy: null,
  outage: null,
  last: null,
  pacedMs: 30_000,
};
const asked: ChannelChoice = { name: 'phone', only: { changes: ['planned', 'down'] } };
const plain: ChannelChoice = { name: 'mail', only: null };

interface Home {
  readonly clock: SimulatedClock;
  readonly record: MemoryRecord;
  readonly standings: Map<string, Standing>;
  live(rules?: readonly PlannedRule[], channels?: readonly ChannelChoice[]): Promise<Planned>;
  /** As the engine does it in groups. */
  pulse(): Promise<void>;
}

function homeAt(wallMs: number): Home {
  const clock = simulatedClock({ wallMs });
  const record = memoryRecord();
  const standings = new Map(cards.map(({ id }) => [id, up]));
  let count = 0;
  return {
    clock,
    record,
    standings,
    live: async (rules = [sunday], channels = [asked, plain]) => {
      const planned = new Planned({
        clock,
        log: silentLog,
        record,
        rules,
        cards,
        channels,
        standingOf: (id) => standings.get(id) ?? up,
        newId: () => `id-${++count}`,
        wake: () => {},
      });
      await planned.recall();
      await planned.begin();
      return planned;
    },
    pulse: () => record.flush({ wallMs: clock.wallMs(), bootMs: 0, bootId: '' }),
  };
}

const everything = { from: 0, to: Number.MAX_SAFE_INTEGER };
const texts = (windows: readonly PlannedWindow[]) =>
  windows.map(({ from, to }) => `${iso(from)} ${iso(to)}`);
const iso = (at: number) => new Date(at).toISOString().slice(5, 16);

async function outboxOf({ record, clock }: Home): Promise<readonly Notice[]> {
  const found = await record.dueDeliveries(clock.wallMs(), 1_000);
  return found.map(({ notice }) => notice);
}
const told = async (home: Home) =>
  (await outboxOf(home)).map(({ type, at }) => `${type.replace('rollcall.', '')} ${iso(at)}`);

describe('a schedule', () => {
  test('goes on record as each window begins, at its very instant over the change of the clock', async () => {
    const home = homeAt(saturday);
    const planned = await home.live();
    await home.clock.advance(8 * dayMs);
    // 25 October 2026 is the first day of winter time: 04:00 is 04:00 UTC, as it is a week later.
    expect(texts(await home.record.planned(everything))).toEqual([
      '10-25T04:00 10-25T04:45',
      '11-01T04:00 11-01T04:45',
    ]);
    expect(await told(home)).toEqual([
      'planned.began 10-25T04:00',
      'planned.ended 10-25T04:45',
      'planned.began 11-01T04:00',
      'planned.ended 11-01T04:45',
    ]);
    await planned.stop();
  });

  test('holds from its first to its last millisecond', async () => {
    const home = homeAt(saturday);
    const planned = await home.live();
    const from = Date.parse('2026-10-25T04:00:00Z');
    const to = from + 45 * minuteMs;
    expect(planned.around('order-book', from - 1)).toBeNull();
    expect(planned.around('order-book', from)).toEqual({ from, to });
    expect(planned.around('order-book', to - 1)).toEqual({ from, to });
    expect(planned.around('order-book', to)).toBeNull();
    expect(planned.around('shop', from)).toBeNull();
    await planned.stop();
  });

  test('is told to those alone who ask for it', async () => {
    const home = homeAt(saturday);
    const planned = await home.live();
    await home.clock.advance(dayMs);
    const [began] = await home.record.dueDeliveries(home.clock.wallMs(), 10);
    expect(began?.notice).toMatchObject({
      channels: ['phone'],
      data: {
        summary: 'Planned work begins: Sunday updates, on Order book, for 45 min.',
        planned: {
          name: 'Sunday updates',
          services: ['order-book'],
          to: '2026-10-25T04:45:00.000Z',
        },
      },
    });
    await planned.stop();
  });

  test('that began while nobody watched is put on record; what was over by then is not told', async () => {
    const home = homeAt(saturday);
    await (await home.live()).stop();
    await home.pulse();
    await home.clock.advance(8 * dayMs - 7 * hourMs - 30 * minuteMs);
    // Amid the second window.
    expect(iso(home.clock.wallMs())).toBe('11-01T04:30');
    const planned = await home.live();
    expect(texts(await home.record.planned(everything))).toEqual([
      '10-25T04:00 10-25T04:45',
      '11-01T04:00 11-01T04:45',
    ]);
    expect(await told(home)).toEqual(['planned.began 11-01T04:30']);
    await planned.stop();
  });

  test('a restart within a window, or more, tells nothing twice', async () => {
    const home = homeAt(Date.parse('2026-10-25T03:59:00Z'));
    for (let lives = 0; lives < 5; lives++) {
      const planned = await home.live();
      await home.clock.advance(12 * minuteMs);
      await home.pulse();
      await planned.stop();
    }
    expect(await told(home)).toEqual(['planned.began 10-25T04:00', 'planned.ended 10-25T04:45']);
  });

  test('what is on record outlives its rule; a rule made up while somebody watched reaches back no further', async () => {
    const home = homeAt(Date.parse('2026-10-25T03:30:00Z'));
    const before = await home.live();
    await home.clock.advance(40 * minuteMs);
    await before.stop();
    await home.pulse();
    // Another rule, under which it would have begun at three.
    const longer: PlannedRule = {
      ...sunday,
      name: 'Longer',
      schedule: '0 3 * * 0',
      lastsMs: 2 * hourMs,
    };
    const planned = await home.live([longer]);
    expect(texts(await home.record.planned(everything))).toEqual([
      '10-25T04:00 10-25T04:45',
      '10-25T04:10 10-25T05:00',
    ]);
    expect(planned.around('order-book', home.clock.wallMs())?.to).toBe(
      Date.parse('2026-10-25T05:00:00Z'),
    );
    await planned.stop();
  });
});

describe('the end', () => {
  const begins = Date.parse('2026-10-25T03:59:00Z');
  const observation = (outcome: 'limited' | 'answered' | 'unproven', at: number) => ({
    at,
    outcome,
    tookUs: 1,
    phases: {},
    trouble: null,
    facts: {},
  });
  const poor = (since: number): Standing => ({
    ...up,
    state: 'degraded',
    since,
    last: observation('limited', since),
  });

  test('sums up what is not well', async () => {
    const home = homeAt(begins);
    const planned = await home.live([{ ...sunday, serviceIds: null }]);
    await home.clock.advance(10 * minuteMs);
    home.standings.set('order-book', { ...up, state: 'down', since: home.clock.wallMs() });
    await home.clock.advance(hourMs);
    expect((await outboxOf(home)).at(-1)?.data.summary).toBe(
      'Planned work is over: Sunday updates, on every service. Not well: Order book is down.',
    );
    await planned.stop();
  });

  test('tells what is degraded since, where nobody is told of the work itself', async () => {
    const home = homeAt(begins);
    const planned = await home.live([sunday], [asked, plain]);
    await home.clock.advance(10 * minuteMs);
    home.standings.set('order-book', poor(home.clock.wallMs()));
    await home.clock.advance(hourMs);
    const last = (await outboxOf(home)).at(-1);
    expect(last).toMatchObject({
      type: 'rollcall.service.degraded',
      at: Date.parse('2026-10-25T04:45:00Z'),
      channels: ['mail'],
      data: { summary: 'The planned time is over: Order book is degraded.' },
    });
    await planned.stop();
  });

  test('does not tell what was so before, what nobody looked at, or what is planned still', async () => {
    const home = homeAt(begins);
    const longer: PlannedRule = { ...sunday, name: 'Longer', lastsMs: 2 * hourMs };
    const planned = await home.live([sunday, longer], [plain]);
    home.standings.set('order-book', poor(begins - hourMs));
    await home.clock.advance(hourMs);
    expect(await told(home)).toEqual([]);
    home.standings.set('order-book', {
      ...poor(home.clock.wallMs()),
      state: 'unobserved',
      last: observation('answered', begins),
    });
    await home.clock.advance(3 * hourMs);
    expect(await told(home)).toEqual([]);
    await planned.stop();
  });
});

describe('on the spot', () => {
  const plan = (home: Home, planned: Planned, forMs: number, more = {}) =>
    planned.plan({
      why: 'New disk',
      from: home.clock.wallMs(),
      to: home.clock.wallMs() + forMs,
      serviceIds: null,
      ...more,
    });

  test('a window is on record at once, and told when it begins and ends', async () => {
    const home = homeAt(saturday);
    const planned = await home.live([]);
    await plan(home, planned, 30 * minuteMs);
    expect(planned.running().map(({ why, origin }) => `${origin} ${why}`)).toEqual([
      'declared New disk',
    ]);
    await home.clock.advance(hourMs);
    expect(await told(home)).toEqual(['planned.began 10-24T12:00', 'planned.ended 10-24T12:30']);
    await planned.stop();
  });

  test('a window from now on lasts as long as was asked, though it took a moment to come here; it never reaches back', async () => {
    const home = homeAt(saturday);
    const planned = await home.live([]);
    const now = home.clock.wallMs();
    await home.clock.advance(20);
    const soon = await plan(home, planned, minuteMs, { from: now, to: now + minuteMs });
    expect([soon.from, soon.to]).toEqual([now, now + minuteMs]);
    await home.clock.advance(hourMs);
    const late = await plan(home, planned, 0, { from: now, to: now + 2 * hourMs });
    expect([late.from, late.to]).toEqual([home.clock.wallMs(), now + 2 * hourMs]);
    await planned.stop();
  });

  test('one to come is told when it begins, also by another daemon', async () => {
    const home = homeAt(saturday);
    const planned = await home.live([]);
    await plan(home, planned, 2 * hourMs, { from: saturday + hourMs });
    expect(await told(home)).toEqual([]);
    await planned.stop();
    await home.pulse();
    await home.clock.advance(90 * minuteMs);
    const next = await home.live([]);
    expect(await told(home)).toEqual(['planned.began 10-24T13:30']);
    await home.clock.advance(hourMs);
    expect(await told(home)).toEqual(['planned.began 10-24T13:30', 'planned.ended 10-24T14:00']);
    await next.stop();
  });

  test('what is held until its end moves along when it ends before, or goes on', async () => {
    const home = homeAt(saturday);
    const planned = await home.live([], [plain]);
    await plan(home, planned, hourMs);
    const held: Notice = {
      id: 'down',
      type: 'rollcall.service.down',
      at: saturday,
      serviceId: 'shop',
      outageId: 'shop.1',
      notBefore: saturday + hourMs,
      data: { summary: '' },
      channels: ['mail'],
    };
    await home.record.commit({ ...nothing, notices: [{ kind: 'add', notice: held }] });
    await plan(home, planned, 3 * hourMs);
    await home.clock.advance(2 * hourMs);
    expect(await told(home)).toEqual([]);
    const ended = await planned.end(null);
    expect(texts(ended)).toEqual(['10-24T12:00 10-24T14:00']);
    expect(await told(home)).toEqual(['service.down 10-24T12:00']);
    expect(planned.running()).toEqual([]);
    await planned.stop();
  });

  test('a window of a schedule can be ended before, and stays so', async () => {
    const home = homeAt(Date.parse('2026-10-25T03:59:00Z'));
    const planned = await home.live();
    await home.clock.advance(6 * minuteMs);
    await planned.end(null);
    await home.clock.advance(2 * minuteMs);
    await planned.stop();
    await home.pulse();
    const next = await home.live();
    expect(next.running()).toEqual([]);
    expect(texts(await home.record.planned(everything))).toEqual(['10-25T04:00 10-25T04:05']);
    await next.stop();
  });

  test('what was declared and is to come can be taken back; what is configured cannot', async () => {
    const home = homeAt(saturday);
    const planned = await home.live();
    const { id } = await plan(home, planned, 2 * hourMs, { from: saturday + hourMs });
    await planned.end(id);
    expect(await home.record.planned(everything)).toEqual([]);
    const [toCome] = await planned.between({ from: saturday, to: saturday + dayMs });
    await expect(planned.end(toCome?.id ?? '')).rejects.toThrow('change it there');
    await expect(planned.end(null)).rejects.toThrow('No planned window runs now.');
    await planned.stop();
  });

  test.each([
    [30_000, {}, 'a minute at least'],
    [8 * dayMs, {}, 'seven days at most'],
    [
      hourMs,
      { from: saturday + 500 * dayMs, to: saturday + 501 * dayMs },
      'more than a year ahead',
    ],
  ])('%d ms %j is refused', async (forMs, more, text) => {
    const home = homeAt(saturday);
    const planned = await home.live([]);
    await expect(plan(home, planned, forMs, more)).rejects.toThrow(text);
    await planned.stop();
  });
});

test('a clock that is set, and a machine that slept, are noticed within a minute', async () => {
  const home = homeAt(saturday);
  const planned = await home.live();
  home.clock.suspend(16 * hourMs + 10 * minuteMs);
  await home.clock.advance(minuteMs);
  expect(await told(home)).toEqual(['planned.began 10-25T04:11']);
  expect(texts(await home.record.planned(everything))).toEqual(['10-25T04:00 10-25T04:45']);
  // Set back to before: nothing begins again.
  home.clock.step(-hourMs);
  await home.clock.advance(95 * minuteMs);
  expect(await told(home)).toEqual(['planned.began 10-25T04:11', 'planned.ended 10-25T04:45']);
  await planned.stop();
});

test('where nothing is planned the clock is left alone', async () => {
  const home = homeAt(saturday);
  const planned = await home.live([]);
  await home.clock.advance(dayMs);
  expect(home.clock.pending()).toBe(1);
  await planned.stop();
  expect(home.clock.pending()).toBe(0);
});

test('a record that cannot be written changes nothing of what is planned and told', async () => {
  const home = homeAt(Date.parse('2026-10-25T03:59:00Z'));
  const planned = await home.live();
  home.record.breakWrites('no space left on device');
  await home.clock.advance(hourMs);
  expect(await told(home)).toEqual(['planned.began 10-25T04:00', 'planned.ended 10-25T04:45']);
  await planned.stop();
});

const nothing = { observations: [], memories: [], spans: [], outages: [], unconfirmed: [] };
