/** What is held until the end of planned time, where another configuration says when that is, or knows less. */
import { describe, expect, test } from 'vitest';
import { silentLog } from '../src/base/log.ts';
import type { PlannedRule } from '../src/base/values.ts';
import { Planned } from '../src/planned.ts';
import type { Notice } from '../src/record/record.ts';
import { simulatedClock } from './support/clock-simulated.ts';
import { memoryRecord } from './support/record-memory.ts';
import { card, outage, standing } from './support/telling.ts';

const minuteMs = 60_000;
const hourMs = 60 * minuteMs;

const sunday: PlannedRule = {
  kind: 'schedule',
  name: 'Sunday updates',
  why: null,
  serviceIds: ['order-book'],
  schedule: '0 4 * * 0',
  timezone: 'Europe/Dublin',
  lastsMs: 45 * minuteMs,
};

function homeAt(wallMs: number) {
  const clock = simulatedClock({ wallMs });
  const record = memoryRecord();
  return {
    clock,
    record,
    live: async (rules: readonly PlannedRule[], cards = [card('order-book'), card('shop')]) => {
      const planned = new Planned({
        ...{ clock, record, rules, cards, log: silentLog, channels: [] },
        standingOf: () => standing('up', null),
        newId: () => 'id',
        wake: () => {},
      });
      await planned.recall();
      await planned.begin();
      return planned;
    },
    pulse: () => record.flush({ wallMs: clock.wallMs(), bootMs: 0, bootId: '' }),
  };
}

describe('what is held until the end of planned time', () => {
  const held = (to: number): Notice => ({
    id: 'held',
    type: 'rollcall.service.down',
    at: to - 30 * minuteMs,
    serviceId: 'order-book',
    outageId: 'order-book.1',
    notBefore: to,
    data: { summary: 'The planned time is over: Order book is still down.' },
    channels: ['phone'],
  });
  const four = Date.parse('2026-10-25T04:00:00Z');
  const second: PlannedRule = { ...sunday, name: 'And more', schedule: '30 4 * * 0' };

  test.each([
    ['sooner', [sunday, second], [sunday], 75, 45],
    ['later', [sunday], [sunday, second], 45, 75],
    ['as before', [sunday], [], 45, 45],
  ] as const)(
    'is told %s where the configuration says so by now, and the daemon was away',
    async (_, before, after, minutesBefore, minutesAfter) => {
      const home = homeAt(four - hourMs);
      const first = await home.live(before);
      await home.clock.advance(hourMs + 10 * minuteMs);
      const until = first.around('order-book', home.clock.wallMs())?.to ?? 0;
      expect(until - four).toBe(minutesBefore * minuteMs);
      await home.record.commit({
        ...{ observations: [], memories: [], spans: [], outages: [], unconfirmed: [] },
        notices: [{ kind: 'add', notice: held(until) }],
      });
      await first.stop();
      await home.pulse();
      await home.clock.advance(2 * minuteMs);
      const next = await home.live(after);
      const { notice } = (await home.record.delivery('held', 'phone')) ?? {};
      expect(notice?.notBefore).toBe(four + minutesAfter * minuteMs);
      await next.stop();
    },
  );

  test('is not told of what is not asked any more', async () => {
    const home = homeAt(four - hourMs);
    const first = await home.live([sunday]);
    await home.clock.advance(hourMs + 10 * minuteMs);
    const until = four + 45 * minuteMs;
    await home.record.commit({
      ...{ observations: [], memories: [], spans: [], unconfirmed: [] },
      outages: [outage('order-book', four + minuteMs, { id: 'order-book.1' })],
      notices: [{ kind: 'add', notice: held(until) }],
    });
    await first.stop();
    await home.pulse();
    const next = await home.live([sunday], [card('shop')]);
    expect(await home.record.delivery('held', 'phone')).toMatchObject({ state: 'withdrawn' });
    await home.clock.advance(hourMs);
    expect(await home.record.nextDeliveryAt()).toBeNull();
    await next.stop();
  });
});
