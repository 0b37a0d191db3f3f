/**
 * All ways of telling at once, over some days drawn at random: services that need each other and flap, planned windows,
 * quiet hours, receivers that refuse, a fallback, restarts with another configuration. In the end nothing is lost, nothing
 * was said twice, and every channel knows how things stand, and only who heard of something heard that it is over.
 */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { pause } from '../../src/base/clock.ts';
import { silentLog } from '../../src/base/log.ts';
import type { Observation, PlannedRule, ServiceCard } from '../../src/base/values.ts';
import { Planned } from '../../src/planned.ts';
import type { Notice, Record } from '../../src/record/record.ts';
import type { ChannelChoice } from '../../src/tell/channel.ts';
import { takes } from '../../src/tell/channel.ts';
import { type QuietHours, quietAt } from '../../src/tell/quiet.ts';
import { Watch } from '../../src/watch.ts';
import { simulatedClock } from '../support/clock-simulated.ts';
import { memoryRecord } from '../support/record-memory.ts';
import { card } from '../support/telling.ts';
import { inWorlds } from './proof.ts';

const minuteMs = 60_000;
const hourMs = 60 * minuteMs;
const dayMs = 24 * hourMs;
/** A Monday, at noon. */
const begins = Date.parse('2026-11-23T12:00:00Z');
const everyMs = 3 * minuteMs;
const zone = 'UTC';

interface Channel extends ChannelChoice {
  readonly quiet?: QuietHours;
  readonly fallback?: string;
}
const night: QuietHours = { from: 22 * 60 + 30, to: 7 * 60 };
const channels: readonly Channel[] = [
  { name: 'phone', only: null, quiet: night, fallback: 'pager' },
  { name: 'pager', only: { services: ['nas'] } },
  { name: 'front', only: { groups: ['Front'], changes: ['down', 'up'] } },
  { name: 'planner', only: { changes: ['planned', 'down', 'up'] } },
];
const cards: readonly ServiceCard[] = [
  card('nas', { everyMs }),
  card('shop', { everyMs, group: 'Front', needs: ['nas'] }),
  card('till', { everyMs, group: 'Front', needs: ['shop'] }),
  card('wiki', { everyMs }),
];
const urgentIds = ['wiki'];

const nightly: PlannedRule = {
  kind: 'schedule',
  name: 'Nightly dump',
  why: null,
  serviceIds: ['nas'],
  schedule: '0 3 * * *',
  timezone: zone,
  lastsMs: hourMs,
};
const moves: PlannedRule = {
  kind: 'once',
  name: 'Move',
  why: null,
  serviceIds: null,
  from: begins + 20 * hourMs,
  to: begins + 24 * hourMs,
};

interface Stay {
  readonly from: number;
  readonly to: number;
}
/** Minutes from the beginning, and how long. */
const stays = (countMax: number, minutesMax: number) =>
  fc
    .array(
      fc.tuple(fc.integer({ min: 5, max: 3 * 24 * 60 }), fc.integer({ min: 1, max: minutesMax })),
      { maxLength: countMax },
    )
    .map((pairs) =>
      pairs.map(([from, minutes]): Stay => {
        const at = begins + from * minuteMs;
        return { from: at, to: at + minutes * minuteMs };
      }),
    );

const worlds = fc.record({
  down: fc.record({
    nas: stays(6, 240),
    shop: stays(6, 240),
    till: stays(4, 240),
    wiki: stays(6, 60),
  }),
  /** Many short ones in a row, of one of them. */
  flaps: fc.record({
    id: fc.constantFrom('nas', 'shop', 'till', 'wiki'),
    from: fc.integer({ min: 0, max: 3 * 24 * 60 }).map((minute) => begins + minute * minuteMs),
    count: fc.integer({ min: 0, max: 8 }),
  }),
  refusing: fc.record({ phone: stays(4, 400), pager: stays(2, 200), front: stays(2, 200) }),
  restarts: fc.array(
    fc.record({
      minute: fc.integer({ min: 1, max: 3 * 24 * 60 }),
      rules: fc.subarray([nightly, moves]),
    }),
    { maxLength: 4 },
  ),
  downInTheEnd: fc.subarray(['nas', 'shop', 'till', 'wiki']),
});
type World = typeof worlds extends fc.Arbitrary<infer Value> ? Value : never;

const flapMs = 14 * minuteMs;

function isIn(all: readonly Stay[] | undefined, at: number): boolean {
  return (all ?? []).some(({ from, to }) => from <= at && at < to);
}

interface Word {
  readonly at: number;
  readonly channel: string;
  readonly notice: Notice;
  /** In a sum of what another channel had to tell: it may have been heard here before. */
  readonly isSummedForAnother: boolean;
  /** Since when its service was planned when it went out; null: it was not. */
  readonly plannedSince: number | null;
}

async function lived(world: World) {
  const clock = simulatedClock({ wallMs: begins, between: 'promises' });
  const memory = memoryRecord();
  const made = new Map<string, Notice>();
  const summedBy = new Map<string, readonly string[]>();
  const record: Record = {
    ...memory,
    commit: (set) => {
      for (const edit of set.notices) {
        if ('notice' in edit) made.set(edit.notice.id, edit.notice);
        if (edit.kind === 'sum') summedBy.set(edit.notice.id, edit.noticeIds);
      }
      return memory.commit(set);
    },
  };
  const words: Word[] = [];
  let count = 0;
  const newId = () => `id-${++count}`;
  const settled = begins + 4 * dayMs - 4 * hourMs;
  const endOf = settled + 5 * hourMs;
  const { id: flapping, from: flapsFrom, count: flapsCount } = world.flaps;
  const isDown = (id: string, at: number): boolean => {
    if (at >= settled) return at < endOf && world.downInTheEnd.some((one) => one === id);
    const sinceMs = at - flapsFrom;
    const isFlap = id === flapping && sinceMs >= 0 && sinceMs < flapsCount * flapMs;
    if (isFlap) return sinceMs % flapMs < flapMs / 2;
    return isIn(Reflect.get(world.down, id), at);
  };
  const ask = async (id: string): Promise<Observation> => {
    const at = clock.wallMs();
    await pause(clock, 5);
    const trouble = { layer: 'port', reason: 'refused', detail: 'refused', hint: 'look' } as const;
    const isBad = isDown(id, at);
    return {
      ...{ at, tookUs: 5_000, phases: {}, facts: {} },
      outcome: isBad ? 'failed' : 'answered',
      trouble: isBad ? trouble : null,
    };
  };
  /** What went out in place of it, too: a sum is what it sums up. */
  const hear = async (
    channel: string,
    notice: Notice,
    plannedSince: (id: string) => number | null,
  ) => {
    for (const id of summedBy.get(notice.id) ?? [notice.id]) {
      const one = made.get(id) ?? notice;
      words.push({
        at: clock.wallMs(),
        channel,
        notice: one,
        isSummedForAnother: one !== notice && notice.data['fallbackFor'] !== undefined,
        plannedSince: plannedSince(one.serviceId ?? ''),
      });
    }
  };
  const live = async (until: number, rules: readonly PlannedRule[]) => {
    const planned: Planned = new Planned({
      ...{ clock, log: silentLog, record, rules, cards, channels, newId },
      standingOf: (id) => watch.standingOf(id),
      wake: () => watch.wake(),
    });
    const watch: Watch<string, Channel> = new Watch({
      ...{ clock, log: silentLog, record, channels, newId, ask, settleMs: 0, random: () => 0.5 },
      services: cards.map((one) => ({
        ...one,
        ...{ card: one, timeoutMs: 1_000, recheckMs: 5_000, confirm: 2, restore: 1 },
        ...{ unanswered: 'down', slowMs: null, slower: {}, minGapMs: 0 },
        ...{ fingerprint: 'settings', probe: one.id },
      })),
      plannedUntil: (id, at) => planned.around(id, at)?.to ?? null,
      quiet: { zone, urgentIds, sayInstant: String },
      send: async ({ name }, notice) => {
        const isRefused = isIn(Reflect.get(world.refusing, name), clock.wallMs());
        if (isRefused) return { status: 503, reception: 'later', detail: '', retryAfterMs: null };
        await hear(name, notice, (id) => planned.around(id, clock.wallMs())?.from ?? null);
        return { status: 204, reception: 'taken', detail: '', retryAfterMs: null };
      },
    });
    await planned.recall();
    await watch.recall();
    watch.begin();
    await planned.begin();
    await clock.advance(until - clock.wallMs());
    const states = new Map(cards.map(({ id }) => [id, watch.standingOf(id)]));
    const stopping = Promise.all([planned.stop(), watch.stop()]);
    await clock.advance(3_000);
    await stopping;
    await record.flush({ wallMs: clock.wallMs(), bootMs: 0, bootId: '' });
    return states;
  };
  let rules: readonly PlannedRule[] = [nightly, moves];
  for (const { minute, rules: next } of world.restarts.toSorted((a, b) => a.minute - b.minute)) {
    await live(Math.max(begins + minute * minuteMs, clock.wallMs() + minuteMs), rules);
    rules = next;
  }
  const states = await live(endOf - minuteMs, rules);
  const wordsThen = [...words];
  await live(endOf + 4 * hourMs, rules);
  return { record, words, wordsThen, states };
}

const wordOf = ({ type }: Notice) => type.replace('rollcall.service.', '');
const isAbout = /^(?:down|up|unsteady|steady|degraded|unobserved)$/;

/** What a channel heard last of how a service stands. */
function lastOf(words: readonly Word[], channel: string, id: string): Notice | undefined {
  return words.findLast((one) => {
    const { notice } = one;
    return one.channel === channel && notice.serviceId === id && isAbout.test(wordOf(notice));
  })?.notice;
}

function saysDown(notice: Notice | undefined): boolean {
  return notice !== undefined && notice.data['state'] === 'down';
}

function isKnownDown(words: readonly Word[], channel: string, id: string): boolean {
  if (saysDown(lastOf(words, channel, id))) return true;
  return cards.some(({ id: other }) => {
    const last = lastOf(words, channel, other);
    const affected: unknown = last?.data['affected'];
    return saysDown(last) && Array.isArray(affected) && affected.includes(id);
  });
}

test('whatever happens at once: nothing is lost, or said twice, or where or when it was not to be', async () => {
  await inWorlds(worlds, 12, async (world) => {
    const { record, words, wordsThen, states } = await lived(world);
    expect(await record.nextDeliveryAt()).toBeNull();

    for (const channel of channels) {
      for (const one of cards) {
        const where = `${one.id} on ${channel.name}`;
        const isDown = states.get(one.id)?.state === 'down';
        if (isDown && takes(channel, one, 'down')) {
          expect(isKnownDown(wordsThen, channel.name, one.id), `${where} is known`).toBe(true);
        }
        const last = lastOf(words, channel.name, one.id);
        expect(last?.data['state'] ?? 'up', `${where} in the end`).toBe('up');
      }
      const ids = words
        .filter((one) => one.channel === channel.name && !one.isSummedForAnother)
        .map((one) => one.notice.id);
      expect(ids.filter((id, nth) => ids.indexOf(id) !== nth)).toEqual([]);
    }
    words.forEach(({ at, channel, notice, plannedSince }, nth) => {
      const { outageId, serviceId } = notice;
      if (wordOf(notice) === 'up') {
        const isHeard = words.slice(0, nth).some((one) => {
          const isHere =
            one.channel === channel || (channel === 'pager' && one.channel === 'phone');
          return isHere && one.notice.outageId === outageId && one.notice.id !== notice.id;
        });
        expect(isHeard, `what ${notice.id} ends was heard of on ${channel}`).toBe(true);
      }
      // What goes out then was made before.
      if (plannedSince !== null && wordOf(notice) === 'down') {
        expect(notice.at, `${notice.id} on ${channel}`).toBeLessThan(plannedSince);
      }
      if (channel === 'phone' && quietAt(at, night, zone).isQuiet) {
        expect(urgentIds).toContain(serviceId);
      }
    });
  });
}, 400_000);
