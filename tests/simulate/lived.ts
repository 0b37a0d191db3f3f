/** A world that is over: what the record holds of it, and what was so. */
import type { Observation, Outage, Span, UnconfirmedFailure } from '../../src/base/values.ts';
import type { ChannelChoice } from '../../src/tell/channel.ts';
import type { Interval } from '../../src/uptime/intervals.ts';
import { badTimes } from './course.ts';
import { type Judged, judged } from './expected.ts';
import { type Heard, household, startMs } from './household.ts';
import { memoryShelf } from './shelf-memory.ts';
import type { Event } from './unsteady.ts';
import type { Look, SimulatedService } from './world.ts';
import type { EventfulWorld, World } from './worlds.ts';

export const always = { from: 0, to: Number.MAX_SAFE_INTEGER };

/** A service's part of the record, in order of time. */
export interface Entries {
  readonly spans: readonly Span[];
  readonly outages: readonly Outage[];
  readonly unconfirmed: readonly UnconfirmedFailure[];
}

export interface Lived {
  readonly entriesOf: (id: string) => Entries;
  /** In the order in which they were made; those that were lost with a process are not among them. */
  readonly looksOf: (id: string) => readonly Judged[];
  readonly heard: readonly Heard[];
  /** All of one service, in order; without those that were lost. */
  readonly eventsOf: (id: string) => readonly Event[];
  /** By the wall clock. */
  readonly endedAt: number;
}

/** Whatever happened last, somebody has looked again since. */
const afterwardsMs = 150_000;

/** More than a receiver that turns messages away, or a clock that was set back, can hold one up. */
const toldWithinMs = 6 * 3_600_000;

export interface Telling {
  readonly channels: readonly ChannelChoice[];
  readonly refusals?: number;
  readonly settleMs?: number;
}

/** With `telling`, it goes on until everything is told. */
export async function lived(
  world: World & Partial<EventfulWorld>,
  telling?: Telling,
): Promise<Lived> {
  const { services, seed, lastsMs, happenings = [] } = world;
  const shelf = memoryShelf();
  const { kept, lost } = shelf;
  const looks: Look[] = [];
  const events: (Omit<Event, 'at'> & { readonly observation: Observation })[] = [];
  const house = household({
    services,
    seed,
    shelf,
    onLook: (look) => void looks.push(look),
    onAnswer: ({ serviceId: service, observation, change }, { state, unsteady }) => {
      events.push({ service, observation, change, state, isUnsteady: unsteady });
    },
    ...telling,
  });
  await house.begin();
  for (const { afterMs, happening } of happenings) {
    await house.live(afterMs);
    await house.happen(happening);
  }
  await house.live(Math.max(lastsMs - house.now(), afterwardsMs));
  const isToldBy = house.now() + toldWithinMs;
  while ((await kept.nextDeliveryAt()) !== null) {
    if (house.now() > isToldBy) throw new Error('messages still wait');
    await house.live(60_000);
  }
  // Read as it stands: what an orderly end lets come to its end is nobody's news any more.
  const endedAt = house.clock.wallMs();
  const answers = judged(looks.filter(({ observation }) => !lost.has(observation)));
  const instants = new Map(answers.map(({ observation, at }) => [observation, at]));
  const entries = new Map<string, Entries>();
  for (const { id } of services) {
    entries.set(id, {
      spans: await kept.spans(id, always),
      outages: [...(await kept.outages(id, always))].reverse(),
      unconfirmed: await kept.unconfirmed(id, always),
    });
  }
  const heard = [...house.heard];
  const answered = [...events];
  await house.end();
  return {
    entriesOf: (id) => entries.get(id) ?? { spans: [], outages: [], unconfirmed: [] },
    looksOf: (id) => answers.filter(({ service }) => service === id),
    heard,
    eventsOf: (id) =>
      answered.flatMap(({ observation, ...event }) => {
        const at = event.change?.decidedAt ?? instants.get(observation);
        return event.service === id && at !== undefined ? [{ ...event, at }] : [];
      }),
    endedAt,
  };
}

/** When it did not serve, by a wall clock that was never set. */
export function trueOutages({ course }: SimulatedService, endedAt: number): readonly Interval[] {
  return badTimes(course, endedAt - startMs).map(({ from, to }) => ({
    from: startMs + from,
    to: startMs + to,
  }));
}
