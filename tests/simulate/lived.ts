/** A world that is over: what the record holds of it, and what was so. */
import type { Outage, Span, UnconfirmedFailure } from '../../src/base/values.ts';
import type { Interval } from '../../src/uptime/intervals.ts';
import { badTimes } from './course.ts';
import { type Heard, household, startMs } from './household.ts';
import { memoryShelf } from './shelf-memory.ts';
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
  readonly entriesOf: (id: string) => Promise<Entries>;
  /** In the order in which they were made; those that were lost with a process are not among them. */
  readonly looksOf: (id: string) => readonly Look[];
  readonly heard: readonly Heard[];
  /** By the wall clock. */
  readonly endedAt: number;
}

const afterwardsMs = 150_000;

export async function lived(
  world: World & Partial<EventfulWorld>,
  more: {
    readonly channels?: readonly { name: string; only: null }[];
    readonly refusals?: number;
  } = {},
): Promise<Lived> {
  const { services, seed, lastsMs, happenings = [] } = world;
  const shelf = memoryShelf();
  const looks: Look[] = [];
  const house = household({
    services,
    seed,
    shelf,
    onLook: (look) => void looks.push(look),
    ...more,
  });
  await house.begin();
  for (const { afterMs, happening } of happenings) {
    await house.live(afterMs);
    await house.happen(happening);
  }
  // Whatever happened last, somebody has looked again since.
  await house.live(Math.max(lastsMs - house.now(), afterwardsMs));
  const endedAt = house.clock.wallMs();
  await house.end();
  const { kept, lost } = shelf;
  return {
    entriesOf: async (id) => ({
      spans: await kept.spans(id, always),
      outages: [...(await kept.outages(id, always))].reverse(),
      unconfirmed: await kept.unconfirmed(id, always),
    }),
    looksOf: (id) =>
      looks.filter(({ service, observation }) => service === id && !lost.has(observation)),
    heard: house.heard,
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
