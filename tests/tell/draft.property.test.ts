/**
 * Who is told, over whole courses of events: services that need each other go down and come back in any order,
 * with the judge's own rules for causes and a record in memory; one channel listens. Generated, with fast-check.
 */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import type { ServiceCard, State } from '../../src/base/values.ts';
import { causeOf, explained, type House } from '../../src/judge/causes.ts';
import { blank } from '../../src/judge/judge.ts';
import type { Change, Memory } from '../../src/judge/memory.ts';
import { type ChannelChoice, takes } from '../../src/tell/channel.ts';
import { createDrafter } from '../../src/tell/draft.ts';
import { memoryRecord } from '../support/record-memory.ts';
import { byId, card, change, fourOClock, outage, standing } from '../support/telling.ts';

const holdMs = 20_000;

interface Message {
  readonly channel: string;
  readonly serviceId: string;
  readonly to: string;
  readonly affected: readonly string[];
}

/** A house in which things happen; `heard` is what the channels got, in order. */
class Course {
  readonly heard: Message[] = [];
  readonly cards: ReadonlyMap<string, ServiceCard>;
  readonly #channels: readonly ChannelChoice[];
  readonly #record = memoryRecord();
  readonly #memories = new Map<string, Memory>();
  readonly #draft;
  readonly #house: House;
  now = fourOClock;

  constructor(cards: ReadonlyMap<string, ServiceCard>, channels: readonly ChannelChoice[]) {
    this.cards = cards;
    this.#channels = channels;
    let nth = 0;
    this.#draft = createDrafter({
      cards,
      channels,
      newId: () => `n${nth++}`,
      holdMs: () => holdMs,
    });
    this.#house = {
      relationsOf: (id) => cards.get(id),
      memoryOf: (id) => this.#memories.get(id),
      backAt: () => undefined,
    };
    for (const id of cards.keys()) this.#memories.set(id, { ...blank('f'), state: 'up', since: 0 });
  }

  isDown(id: string): boolean {
    return this.#memory(id).state === 'down';
  }

  /** Time passes, and what is due is delivered. */
  async pass(ms: number): Promise<void> {
    this.now += ms;
    for (;;) {
      const [due] = await this.#record.dueDeliveries(this.now, 1);
      if (!due) return;
      const { notice, channel } = due;
      expect(await this.#record.claim(notice.id, channel, this.now)).toBe(true);
      await this.#record.attempted({
        noticeId: notice.id,
        channel,
        at: this.now,
        tookMs: 1,
        status: 204,
        detail: '',
        next: { state: 'delivered' },
      });
      const { affected } = notice.data;
      this.heard.push({
        channel,
        serviceId: notice.serviceId ?? '',
        to: notice.type.replace('rollcall.service.', ''),
        affected: affected as readonly string[],
      });
    }
  }

  async down(id: string): Promise<void> {
    if (this.isDown(id)) return;
    const opened = outage(id, this.now, {
      lastGoodAt: this.now - 30_000,
      confirmedAt: this.now,
      causeId: causeOf(id, this.now, this.#house),
    });
    this.#memories.set(id, { ...this.#memory(id), state: 'down', outage: opened });
    for (const moved of explained(this.cards.keys(), this.#house)) {
      const { serviceId } = moved;
      this.#memories.set(serviceId, { ...this.#memory(serviceId), outage: moved });
    }
    await this.#tell(change(id, 'up', 'down', { outage: opened, decidedAt: this.now }));
  }

  async up(id: string): Promise<void> {
    const open = this.#memory(id).outage;
    if (!open) return;
    this.#memories.set(id, { ...this.#memory(id), state: 'up', outage: null });
    const ended = { ...open, restoredAt: this.now };
    await this.#tell(change(id, 'down', 'up', { outage: ended, decidedAt: this.now }));
  }

  /** What this channel last heard of the service itself. */
  last(channel: string, id: string): string | undefined {
    return this.#of(channel).findLast(({ serviceId }) => serviceId === id)?.to;
  }

  /** The last word on this channel about the service is that it is down: its own, or one about what it needs. */
  isKnownDown(channel: string, id: string): boolean {
    if (this.last(channel, id) === 'down') return true;
    return [...this.cards.keys()].some((other) => {
      const word = this.#of(channel).findLast(({ serviceId }) => serviceId === other);
      return word?.to === 'down' && word.affected.includes(id);
    });
  }

  downsHeard(): readonly string[] {
    return this.heard.filter(({ to }) => to === 'down').map(({ serviceId }) => serviceId);
  }

  channelsOf(id: string): readonly string[] {
    const service = this.cards.get(id);
    if (!service) return [];
    return this.#channels.filter((one) => takes(one, service, 'down')).map(({ name }) => name);
  }

  #of(channel: string): readonly Message[] {
    return this.heard.filter((message) => message.channel === channel);
  }

  #memory(id: string): Memory {
    return this.#memories.get(id) ?? blank('f');
  }

  async #tell(what: Change): Promise<void> {
    const notices = this.#draft(what, (id) => {
      const { state, outage } = this.#memory(id);
      return standing(state as State, outage);
    });
    await this.#record.commit({
      observations: [],
      memories: [],
      spans: [],
      outages: [],
      unconfirmed: [],
      notices,
    });
  }
}

const ids = ['a', 'b', 'c', 'd', 'e'];

/** Each service may need any of those before it: chains, diamonds, stars, nothing at all. */
const houses = fc
  .tuple(...ids.map((_, nth) => fc.subarray(ids.slice(0, nth))))
  .map((needs) =>
    byId(
      ...ids.map((id, nth) =>
        card(id, { needs: needs[nth] ?? [], group: nth % 2 === 0 ? 'Even' : 'Odd' }),
      ),
    ),
  );

const phone: ChannelChoice = { name: 'phone', only: null };
const even: ChannelChoice = { name: 'even', only: { groups: ['Even'] } };

/** All that a service needs, directly or not. */
function needsOf(cards: ReadonlyMap<string, ServiceCard>, id: string): ReadonlySet<string> {
  const found = new Set<string>();
  const open = [id];
  for (let at = open.pop(); at !== undefined; at = open.pop()) {
    for (const needed of cards.get(at)?.needs ?? []) {
      if (!found.has(needed)) open.push(needed);
      found.add(needed);
    }
  }
  return found;
}

test('in whatever order a fault shows, those and only those are told that need nothing else that is down', async () => {
  const orders = fc.shuffledSubarray(ids, { minLength: 1 });
  const pauses = fc.array(fc.integer({ min: 0, max: 3_900 }), { minLength: 5, maxLength: 5 });
  await fc.assert(
    fc.asyncProperty(houses, orders, pauses, async (cards, order, pausesMs) => {
      const course = new Course(cards, [phone]);
      for (const [nth, id] of order.entries()) {
        await course.down(id);
        await course.pass(pausesMs[nth] ?? 0);
      }
      await course.pass(holdMs);
      const roots = order.filter((id) => {
        const needed = needsOf(cards, id);
        return !order.some((other) => needed.has(other));
      });
      expect([...course.downsHeard()].sort()).toEqual([...roots].sort());
    }),
    { numRuns: 200 },
  );
});

type Step =
  | { readonly kind: 'down' | 'up'; readonly id: string }
  | { readonly kind: 'pass'; readonly ms: number };

const steps: fc.Arbitrary<readonly Step[]> = fc.array(
  fc.oneof(
    {
      weight: 4,
      arbitrary: fc.record({ kind: fc.constant('down' as const), id: fc.constantFrom(...ids) }),
    },
    {
      weight: 3,
      arbitrary: fc.record({ kind: fc.constant('up' as const), id: fc.constantFrom(...ids) }),
    },
    {
      weight: 3,
      arbitrary: fc.record({
        kind: fc.constant('pass' as const),
        ms: fc.integer({ min: 1, max: 40_000 }),
      }),
    },
  ),
  { maxLength: 30 },
);

async function lived(
  cards: ReadonlyMap<string, ServiceCard>,
  course: readonly Step[],
): Promise<Course> {
  const house = new Course(cards, [phone, even]);
  for (const step of course) {
    if (step.kind === 'pass') await house.pass(step.ms);
    else await house[step.kind](step.id);
    // Two things never happen at exactly the same instant here: who of them was first would be undefined.
    await house.pass(1);
  }
  return house;
}

/** b ← c ← e. What explains e is another one in the middle of it, which one channel does not carry. */
const chain = byId(
  ...ids.map((id, nth) =>
    card(id, {
      needs: id === 'c' ? ['b'] : id === 'e' ? ['c'] : [],
      group: nth % 2 === 0 ? 'Even' : 'Odd',
    }),
  ),
);
const courseOfTwoCauses: readonly Step[] = [
  { kind: 'down', id: 'c' },
  { kind: 'down', id: 'e' },
  { kind: 'down', id: 'b' },
  { kind: 'up', id: 'c' },
];

test('whatever happens: once things have settled, every channel knows of every service that is down', async () => {
  await fc.assert(
    fc.asyncProperty(houses, steps, async (cards, course) => {
      const house = await lived(cards, course);
      await house.pass(holdMs);
      for (const id of ids) {
        if (!house.isDown(id)) continue;
        for (const channel of house.channelsOf(id)) {
          expect(house.isKnownDown(channel, id), `${id} on ${channel}`).toBe(true);
        }
      }
    }),
    { numRuns: 300, examples: [[chain, courseOfTwoCauses]] },
  );
});

test('whatever happens: who heard of an outage hears of its end, and nobody else does', async () => {
  await fc.assert(
    fc.asyncProperty(
      houses,
      steps,
      fc.shuffledSubarray(ids, { minLength: 5 }),
      async (cards, course, back) => {
        const house = await lived(cards, course);
        for (const id of back) {
          await house.up(id);
          await house.pass(1_000);
        }
        await house.pass(holdMs);
        for (const channel of ['phone', 'even']) {
          for (const id of ids) {
            const words = house.heard.filter(
              (one) => one.channel === channel && one.serviceId === id,
            );
            expect(words.at(0)?.to ?? 'down').toBe('down');
            expect(words.at(-1)?.to ?? 'up', `${id} on ${channel}`).toBe('up');
            words.forEach(({ to }, nth) => {
              if (to === 'up') expect(words[nth - 1]?.to).toBe('down');
            });
          }
        }
      },
    ),
    { numRuns: 300 },
  );
});
