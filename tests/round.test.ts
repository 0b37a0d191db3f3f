/**
 * Whole rounds under a simulated clock: the real timetable, judge and drafter over a record in memory, and a world of
 * services that answer as the test says. What the record then holds is compared with what was so.
 */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { pause } from '../src/base/clock.ts';
import { silentLog } from '../src/base/log.ts';
import type { Observation, Outcome, ServiceCard } from '../src/base/values.ts';
import type { NoticeEdit } from '../src/record/record.ts';
import { type RoundService, Rounds } from '../src/round.ts';
import { Timetable } from '../src/schedule/timetable.ts';
import { createDrafter } from '../src/tell/draft.ts';
import { simulatedClock } from './support/clock-simulated.ts';
import { observation } from './support/observations.ts';
import { memoryRecord } from './support/record-memory.ts';

const startMs = 1_795_579_200_000;
const everyMs = 10_000;

interface Plan {
  readonly id: string;
  readonly needs?: readonly string[];
  readonly through?: readonly string[];
}

function world(
  plans: readonly Plan[],
  record = memoryRecord(),
  wallMs = startMs,
  more: Partial<RoundService<string>> = {},
  /** What fails does so by hanging: it takes all the time there is. */
  hangs = false,
) {
  const clock = simulatedClock({ wallMs });
  const outcomes = new Map<string, Outcome>(plans.map(({ id }) => [id, 'answered']));
  const services = plans.map(
    (plan): RoundService<string> => ({
      id: plan.id,
      needs: plan.needs ?? [],
      through: plan.through ?? [],
      everyMs,
      timeoutMs: 1_000,
      recheckMs: 2_000,
      confirm: 2,
      restore: 1,
      unanswered: 'down',
      slowMs: null,
      slower: { 'under-load': 4 },
      fingerprint: 'settings',
      probe: plan.id,
      ...more,
    }),
  );
  const cards = new Map(plans.map((plan) => [plan.id, cardOf(plan)]));
  let notices = 0;
  let woken = 0;
  const added: NoticeEdit[] = [];
  const draft = createDrafter({
    cards,
    channels: [{ name: 'phone', only: null }],
    // The record may be one that another daemon filled before.
    newId: () => `notice-${wallMs}-${++notices}`,
    holdMs: () => 8_000,
  });
  const stopping = new AbortController();
  const asked: Observation[] = [];
  const rounds = new Rounds<string>({
    clock,
    log: silentLog,
    record,
    ask: async (id, { keep, timeoutMs }) => {
      const seen = observation(clock.wallMs(), outcomes.get(id) ?? 'answered');
      asked.push(seen);
      if (hangs && seen.outcome === 'failed') await pause(clock, timeoutMs);
      await keep.write(`times ${id}`, `${Number(await keep.read(`times ${id}`)) + 1}`);
      return seen;
    },
    draft: (change, standingOf) => {
      const edits = draft(change, standingOf);
      added.push(...edits);
      return edits;
    },
    tell: () => {
      woken++;
    },
    signal: stopping.signal,
  });
  const timetable = new Timetable({
    clock,
    round: (id) => rounds.round(id),
    onDefect: (_id, thrown) => {
      throw thrown;
    },
  });
  return {
    clock,
    record,
    rounds,
    asked,
    woken: () => woken,
    set: (id: string, outcome: Outcome) => void outcomes.set(id, outcome),
    begin: async () => {
      await rounds.replace(services);
      timetable.replace(services.map((one) => ({ id: one.id, everyMs: one.everyMs, minGapMs: 0 })));
    },
    end: () => timetable.stop(),
    /** What would go out by now: not folded, not withdrawn, no longer held. */
    told: async () => {
      const due = [];
      for (let next = await record.dueDeliveries(clock.wallMs(), 100); next.length > 0; ) {
        for (const { notice, channel } of next) {
          due.push({
            type: notice.type.replace('rollcall.service.', ''),
            id: notice.serviceId ?? '',
          });
          await record.claim(notice.id, channel, clock.wallMs());
          const at = clock.wallMs();
          await record.attempted({
            noticeId: notice.id,
            channel,
            at,
            tookMs: 1,
            status: 204,
            detail: '',
            next: { state: 'delivered' },
          });
        }
        next = await record.dueDeliveries(clock.wallMs(), 100);
      }
      return due;
    },
  };
}

function cardOf({ id, needs = [], through = [] }: Plan): ServiceCard {
  return {
    id,
    name: id,
    group: null,
    kind: 'tcp',
    where: `${id}.fernhill.home.arpa:1`,
    open: null,
    note: null,
    needs,
    through,
    objective: null,
    everyMs,
  };
}

const whole = { from: 0, to: Number.MAX_SAFE_INTEGER };

describe('one cause, one message', () => {
  const house: readonly Plan[] = [
    { id: 'nas' },
    { id: 'db', needs: ['nas'] },
    { id: 'shop', needs: ['db'] },
    { id: 'archive', needs: ['nas'] },
  ];

  test('a chain and a diamond behind one failure are told once, and once when it is over', async () => {
    const { clock, begin, set, told, rounds } = world(house);
    await begin();
    await clock.advance(30_000);
    for (const { id } of house) set(id, 'failed');
    await clock.advance(40_000);
    expect(await told()).toEqual([{ type: 'down', id: 'nas' }]);
    expect(rounds.standingOf('shop')).toMatchObject({ state: 'down', causeId: 'nas' });
    for (const { id } of house) set(id, 'answered');
    await clock.advance(40_000);
    expect(await told()).toEqual([{ type: 'up', id: 'nas' }]);
  });

  test('what stays down when its cause is back is told then', async () => {
    const { clock, begin, set, told } = world(house);
    await begin();
    await clock.advance(30_000);
    for (const { id } of house) set(id, 'failed');
    await clock.advance(40_000);
    await told();
    for (const { id } of house) if (id !== 'archive') set(id, 'answered');
    await clock.advance(40_000);
    expect(await told()).toEqual([
      { type: 'up', id: 'nas' },
      { type: 'down', id: 'archive' },
    ]);
    set('archive', 'answered');
    await clock.advance(20_000);
    expect(await told()).toEqual([{ type: 'up', id: 'archive' }]);
  });

  test('the order in which they fail does not matter', async () => {
    const order = fc.shuffledSubarray(['nas', 'db', 'shop', 'archive'], { minLength: 4 });
    const pauses = fc.array(fc.integer({ min: 0, max: 1_500 }), { minLength: 4, maxLength: 4 });
    await fc.assert(
      fc.asyncProperty(order, pauses, async (ids, waits) => {
        const { clock, begin, set, told } = world(house);
        await begin();
        await clock.advance(30_000);
        for (const [nth, id] of ids.entries()) {
          set(id, 'failed');
          await clock.advance(waits[nth] ?? 0);
        }
        await clock.advance(60_000);
        expect(await told()).toEqual([{ type: 'down', id: 'nas' }]);
      }),
      { numRuns: 25 },
    );
  });
});

test.each(['nas first', 'shop first'])(
  'what stays down when its cause came back while nobody looked is told: %s',
  async (order) => {
    const plans = [{ id: 'nas' }, { id: 'shop', needs: ['nas'] }];
    const record = memoryRecord();
    const first = world(plans, record);
    await first.begin();
    await first.clock.advance(30_000);
    for (const { id } of plans) first.set(id, 'failed');
    await first.clock.advance(40_000);
    expect(await first.told()).toEqual([{ type: 'down', id: 'nas' }]);
    await first.end();

    const later = world(plans, record, first.clock.wallMs() + 3_600_000);
    later.set('shop', 'failed');
    // Whoever is asked first after the gap finds the other as it was.
    if (order === 'shop first') later.set('nas', 'failed');
    await later.begin();
    await later.clock.advance(2_000);
    later.set('nas', 'answered');
    await later.clock.advance(60_000);
    expect(await later.told()).toEqual([
      { type: 'up', id: 'nas' },
      { type: 'down', id: 'shop' },
    ]);
    later.set('shop', 'answered');
    await later.clock.advance(20_000);
    expect(await later.told()).toEqual([{ type: 'up', id: 'shop' }]);
  },
);

test('a service behind a gateway that is gone is unobserved, and nobody hears of it', async () => {
  const { clock, begin, set, told, record, rounds } = world([
    { id: 'router' },
    { id: 'shop', through: ['router'] },
  ]);
  await begin();
  await clock.advance(30_000);
  set('router', 'failed');
  set('shop', 'failed');
  await clock.advance(40_000);
  expect(rounds.standingOf('shop')?.state).toBe('unobserved');
  expect((await record.outages('shop', whole)).length).toBe(0);
  set('router', 'answered');
  set('shop', 'answered');
  await clock.advance(40_000);
  expect(await told()).toEqual([
    { type: 'down', id: 'router' },
    { type: 'up', id: 'router' },
  ]);
  expect((await record.spans('shop', whole)).map(({ state }) => state)).toEqual([
    'up',
    'unobserved',
    'up',
  ]);
});

describe('time that nobody watched', () => {
  test('a stop is a gap from the first missed due time, silently; a short one is none', async () => {
    const record = memoryRecord();
    const first = world([{ id: 'shop' }], record);
    await first.begin();
    await first.clock.advance(60_000);
    await first.end();
    const lastAt = first.asked.at(-1)?.at ?? 0;

    const soon = world([{ id: 'shop' }], record, first.clock.wallMs() + 3_000);
    await soon.begin();
    await soon.clock.advance(30_000);
    await soon.end();
    expect(await record.spans('shop', whole)).toHaveLength(1);

    const restartMs = soon.clock.wallMs() + 3_600_000;
    const late = world([{ id: 'shop' }], record, restartMs);
    await late.begin();
    // Before the first answer nobody knows.
    expect(late.rounds.standingOf('shop')?.state).toBe('unobserved');
    await late.clock.advance(30_000);
    const spans = await record.spans('shop', whole);
    expect(spans.map(({ state }) => state)).toEqual(['up', 'unobserved', 'up']);
    const stoppedAt = soon.asked.at(-1)?.at ?? 0;
    expect(stoppedAt).toBeGreaterThan(lastAt);
    expect(spans[1]).toMatchObject({ from: stoppedAt + everyMs, to: late.asked[0]?.at });
    expect(await late.told()).toEqual([]);
  });

  test('a machine that slept has a gap; a wall clock that was set forward has one too', async () => {
    const { clock, begin, record, told } = world([{ id: 'shop' }]);
    await begin();
    await clock.advance(60_000);
    clock.suspend(3_600_000);
    await clock.advance(60_000);
    clock.step(1_800_000);
    await clock.advance(60_000);
    const spans = await record.spans('shop', whole);
    expect(spans.map(({ state }) => state)).toEqual(['up', 'unobserved', 'up', 'unobserved', 'up']);
    expect(await told()).toEqual([]);
  });

  test('a wall clock that was set back makes no span negative, and no time counts twice', async () => {
    const { clock, begin, record, set } = world([{ id: 'shop' }]);
    await begin();
    await clock.advance(60_000);
    clock.step(-1_800_000);
    set('shop', 'failed');
    await clock.advance(60_000);
    set('shop', 'answered');
    await clock.advance(2_000_000);
    const spans = await record.spans('shop', whole);
    for (const [nth, span] of spans.entries()) {
      if (span.to !== null) expect(span.to).toBeGreaterThanOrEqual(span.from);
      if (nth > 0) expect(span.from).toBe(spans[nth - 1]?.to);
    }
  });
});

test('behind a gateway that was asked a moment before the clock was set back, an outage is found at once', async () => {
  const { clock, begin, set, rounds } = world([
    { id: 'router' },
    { id: 'shop', through: ['router'] },
  ]);
  await begin();
  await clock.advance(60_000);
  clock.step(-3_600_000);
  set('shop', 'failed');
  await clock.advance(60_000);
  expect(rounds.standingOf('shop')?.state).toBe('down');
});

test.each([1_000, 2_000, 5_000, 6_000, 30_000])(
  'a service that hangs is down and told, also where an exchange may take the whole interval of %s ms',
  async (ms) => {
    const timing = { everyMs: ms, timeoutMs: ms, recheckMs: ms };
    const { clock, begin, set, told, rounds, record } = world(
      [{ id: 'shop' }],
      memoryRecord(),
      startMs,
      timing,
      true,
    );
    await begin();
    await clock.advance(3 * ms);
    set('shop', 'failed');
    await clock.advance(8 * ms);
    expect(rounds.standingOf('shop')?.state).toBe('down');
    expect(await told()).toEqual([{ type: 'down', id: 'shop' }]);
    await clock.advance(20 * ms);
    expect((await record.spans('shop', whole)).map(({ state }) => state)).toEqual(['up', 'down']);
  },
);

test('a record that cannot be written holds nothing up: gaps are closed, changes are told', async () => {
  const record = memoryRecord();
  const first = world([{ id: 'shop' }], record);
  await first.begin();
  await first.clock.advance(30_000);
  await first.end();
  record.breakWrites('no space left');
  const later = world([{ id: 'shop' }], record, first.clock.wallMs() + 3_600_000);
  await later.begin();
  const { set } = later;
  set('shop', 'failed');
  await later.clock.advance(40_000);
  expect(later.rounds.standingOf('shop')?.state).toBe('down');
  expect(later.woken()).toBeGreaterThan(0);
});

test('lasting silence after an answer is told as what it is: an inference', async () => {
  const { clock, begin, set, record, told } = world([{ id: 'vpn' }]);
  await begin();
  await clock.advance(30_000);
  set('vpn', 'unproven');
  await clock.advance(30_000);
  expect(await told()).toEqual([{ type: 'down', id: 'vpn' }]);
  const [outage] = await record.outages('vpn', whole);
  const [report] = await record.deliveriesOf(outage?.id ?? '');
  expect(report?.notice.data.summary).toMatch(
    /^vpn is down, as far as anybody can tell: it answered before and has been silent for \d+ s\.$/,
  );
});

test('a service whose answer says that a visit costs is asked less often, and that is no gap', async () => {
  const { clock, begin, set, record, asked, rounds } = world([{ id: 'shop' }]);
  await begin();
  await clock.advance(30_000);
  set('shop', 'limited');
  await clock.advance(20_000);
  expect(rounds.standingOf('shop')).toMatchObject({ state: 'degraded', pacedMs: 4 * everyMs });
  const before = asked.length;
  await clock.advance(10 * everyMs);
  expect(asked.length - before).toBeLessThanOrEqual(3);
  expect((await record.spans('shop', whole)).map(({ state }) => state)).toEqual(['up', 'degraded']);
});

test('a failure in doubt is asked again soon, with what it needs; a single one leaves a trace and no message', async () => {
  const { clock, begin, set, told, record, asked } = world([
    { id: 'nas' },
    { id: 'shop', needs: ['nas'] },
  ]);
  await begin();
  await clock.advance(30_000);
  set('shop', 'failed');
  const before = asked.length;
  while (!asked.slice(before).some(({ outcome }) => outcome === 'failed')) await clock.advance(100);
  set('shop', 'answered');
  await clock.advance(20_000);
  const [unconfirmed] = await record.unconfirmed('shop', whole);
  expect((unconfirmed?.nextGoodAt ?? 0) - (unconfirmed?.firstFailedAt ?? 0)).toBeLessThanOrEqual(
    2_100,
  );
  expect(await told()).toEqual([]);
});

test('what a probe keeps is in the record, for the next one and the next daemon', async () => {
  const record = memoryRecord();
  const first = world([{ id: 'vpn' }], record);
  await first.begin();
  await first.clock.advance(25_000);
  await first.end();
  const { length } = first.asked;
  expect(length).toBeGreaterThan(1);
  expect(await record.kept('times vpn')).toBe(String(length));

  const next = world([{ id: 'vpn' }], record, startMs + 60_000);
  await next.begin();
  await next.clock.advance(10_000);
  expect(await record.kept('times vpn')).toBe(String(length + next.asked.length));
});
