/**
 * A month with planned windows over a change of the clock, lived by the watch and the keeper of planned time: what was
 * meant to be is neither counted nor told, what outlives its window is told at its end, and a restart changes nothing.
 */
import { expect, test } from 'vitest';
import { pause } from '../../src/base/clock.ts';
import { silentLog } from '../../src/base/log.ts';
import type { Observation, PlannedRule } from '../../src/base/values.ts';
import { Planned } from '../../src/planned.ts';
import { readHistory } from '../../src/record/history.ts';
import type { Notice } from '../../src/record/record.ts';
import type { ChannelChoice } from '../../src/tell/channel.ts';
import { availabilityOf } from '../../src/uptime/availability.ts';
import { Watch } from '../../src/watch.ts';
import { simulatedClock } from '../support/clock-simulated.ts';
import { memoryRecord } from '../support/record-memory.ts';
import { card } from '../support/telling.ts';

const minuteMs = 60_000;
const hourMs = 60 * minuteMs;
const dayMs = 24 * hourMs;
/** The clocks of Dublin go back on the 25th. */
const begins = Date.parse('2026-10-10T00:00:00Z');
const everyMs = minuteMs;

const rules: readonly PlannedRule[] = [
  {
    kind: 'schedule',
    name: 'Nightly dump',
    why: null,
    serviceIds: ['order-book'],
    schedule: '30 3 * * *',
    timezone: 'Europe/Dublin',
    lastsMs: 30 * minuteMs,
  },
  {
    kind: 'once',
    name: 'Move',
    why: 'New shelf',
    serviceIds: null,
    from: begins + 5 * dayMs,
    to: begins + 5 * dayMs + 4 * hourMs,
  },
];

/** In the world, whatever the daemon makes of it. */
interface Stay {
  readonly from: number;
  readonly to: number;
}
const utc = (text: string) => Date.parse(`2026-${text}:00Z`);
const stay = (from: string, minutes: number): Stay => ({
  from: utc(from),
  to: utc(from) + minutes * minuteMs,
});

/** 03:30 in Dublin is 02:30 UTC up to the 24th, and 03:30 UTC from the 25th on. */
const bad: Readonly<Record<string, readonly Stay[]>> = {
  'order-book': [
    // Each night within its window.
    ...Array.from({ length: 28 }, (_, day): Stay => {
      const midnight = begins + day * dayMs;
      const hour = midnight < utc('10-25T00:00') ? 2 : 3;
      const from = midnight + hour * hourMs + 33 * minuteMs;
      return { from, to: from + 20 * minuteMs };
    }),
    // The window of the 12th is outlived by an hour.
    stay('10-12T02:50', 70),
    // Where the window would be by the other time: an outage like any other.
    stay('10-26T02:33', 20),
    // Told before the window of the 28th, over within it.
    stay('10-28T03:10', 25),
  ],
  shop: [
    // Again and again within the move, and once more right after it.
    ...Array.from({ length: 10 }, (_, nth): Stay => {
      const from = utc('10-15T02:30') + nth * 8 * minuteMs;
      return { from, to: from + 4 * minuteMs };
    }),
    stay('10-15T04:05', 10),
    stay('10-20T12:00', 30),
  ],
};

async function month(restartsAt: readonly number[]) {
  const clock = simulatedClock({ wallMs: begins, between: 'promises' });
  const record = memoryRecord();
  const heard: { readonly at: number; readonly notice: Notice }[] = [];
  const cards = [card('order-book', { everyMs }), card('shop', { everyMs })];
  const channels: readonly ChannelChoice[] = [
    { name: 'phone', only: null },
    { name: 'log', only: { changes: ['planned'] } },
  ];
  let count = 0;
  const newId = () => `id-${++count}`;

  const ask = async (id: string): Promise<Observation> => {
    const at = clock.wallMs();
    await pause(clock, 5);
    const isBad = (bad[id] ?? []).some(({ from, to }) => from <= at && at < to);
    const trouble = { layer: 'port', reason: 'refused', detail: 'refused', hint: 'look' } as const;
    return {
      at,
      outcome: isBad ? 'failed' : 'answered',
      tookUs: 5_000,
      phases: {},
      trouble: isBad ? trouble : null,
      facts: {},
    };
  };
  const live = async (until: number) => {
    const planned: Planned = new Planned({
      ...{ clock, log: silentLog, record, rules, cards, channels, newId },
      standingOf: (id) => watch.standingOf(id),
      wake: () => watch.wake(),
    });
    const watch: Watch<string, ChannelChoice> = new Watch({
      ...{ clock, log: silentLog, record, channels, newId, ask, settleMs: 0, random: () => 0.5 },
      services: cards.map((one) => ({
        ...one,
        card: one,
        timeoutMs: 1_000,
        recheckMs: 5_000,
        confirm: 2,
        restore: 1,
        unanswered: 'down',
        slowMs: null,
        slower: {},
        minGapMs: 0,
        fingerprint: 'settings',
        probe: one.id,
      })),
      plannedUntil: (id, at) => planned.around(id, at)?.to ?? null,
      send: async (_channel, notice) => {
        heard.push({ at: clock.wallMs(), notice });
        return { status: 204, reception: 'taken', detail: 'answered 204', retryAfterMs: null };
      },
    });
    await planned.recall();
    await watch.recall();
    watch.begin();
    await planned.begin();
    await clock.advance(until - clock.wallMs());
    await Promise.all([planned.stop(), advanced(watch.stop())]);
    await record.flush({ wallMs: clock.wallMs(), bootMs: 0, bootId: '' });
  };
  /** Stopping waits for what is under way. */
  const advanced = async (work: Promise<void>) => {
    await clock.advance(3_000);
    await work;
  };
  for (const at of restartsAt) {
    await live(at);
    await clock.advance(2 * minuteMs);
  }
  await live(begins + 28 * dayMs);
  const figuresOf = async (serviceId: string) => {
    const now = clock.wallMs();
    const window = { from: begins, to: now };
    const asked = { serviceId, window, now, open: null, watchedUntil: null };
    return availabilityOf(await readHistory(record, asked));
  };
  return { record, heard, figuresOf };
}

/** Lived once for all tests. */
let undisturbed: ReturnType<typeof month> | null = null;
function oneLife() {
  undisturbed ??= month([]);
  return undisturbed;
}

const news = ({ notice }: { readonly notice: Notice }) =>
  `${notice.serviceId} ${notice.type.replace('rollcall.service.', '')}`;

/** What is to be heard, and when it is true: it is heard when the next question was asked, and once more. */
const expected = [
  ['10-12T03:00', 'order-book down'],
  ['10-12T04:00', 'order-book up'],
  ['10-15T04:05', 'shop down'],
  ['10-15T04:15', 'shop up'],
  ['10-20T12:00', 'shop down'],
  ['10-20T12:30', 'shop up'],
  ['10-26T02:33', 'order-book down'],
  ['10-26T02:53', 'order-book up'],
  ['10-28T03:10', 'order-book down'],
  ['10-28T03:53', 'order-book up'],
] as const;

test.each([
  ['in one life', []],
  ['with a restart amid windows and outages', ['10-12T02:55', '10-15T01:30', '10-28T03:32']],
] as const)(
  'what was meant to be is not told, what outlives it is told at its end: %s',
  async (_, restarts) => {
    const { heard } = await (restarts.length === 0 ? oneLife() : month(restarts.map(utc)));
    const changes = heard.filter(({ notice }) => notice.type.startsWith('rollcall.service'));
    expect(changes.map(news)).toEqual(expected.map(([, what]) => what));
    for (const [place, [at]] of expected.entries()) {
      const lateMs = (changes[place]?.at ?? 0) - utc(at);
      expect(lateMs, at).toBeGreaterThanOrEqual(0);
      expect(lateMs, at).toBeLessThan(2 * everyMs);
    }
    // To the instant: it was held.
    expect(changes[0]?.at).toBe(utc('10-12T03:00'));
    expect(changes[0]?.notice.data.summary).toBe(
      'The planned time is over: Order book is still down: refused.',
    );
  },
);

test('each night is planned at its own instant, told to who asked for it, and counts for nothing', async () => {
  const { heard, record, figuresOf } = await oneLife();
  const nights = (await record.planned({ from: 0, to: Number.MAX_SAFE_INTEGER })).filter(
    ({ origin }) => origin === 'schedule',
  );
  expect(nights.map(({ from }) => from)).toEqual(
    Array.from({ length: 28 }, (_, day) => {
      const midnight = begins + day * dayMs;
      return midnight + (midnight < utc('10-25T00:00') ? 2.5 : 3.5) * hourMs;
    }),
  );
  const planned = heard.filter(({ notice }) => notice.type.startsWith('rollcall.planned'));
  expect(planned).toHaveLength(2 * 29);
  expect(planned.every(({ at, notice }) => at - notice.at < minuteMs)).toBe(true);

  const book = await figuresOf('order-book');
  // The night of the 15th lies within the move.
  expect(book.plannedMs).toBe(27 * 30 * minuteMs + 4 * hourMs);
  // An hour beyond its window; an outage by the other time; the part before the window of the 28th.
  expect(book.outages).toBe(3);
  expect(Math.abs(book.downMs - (60 + 20 + 20) * minuteMs)).toBeLessThan(3 * everyMs);
  const shop = await figuresOf('shop');
  expect(shop).toMatchObject({ plannedMs: 4 * hourMs, outages: 2 });
});
