/** Random worlds, as fast-check draws and shrinks them. */
import fc from 'fast-check';
import { type Condition, courseOf } from './course.ts';
import type { Happening } from './household.ts';
import type { SimulatedService } from './world.ts';

export interface World {
  readonly seed: number;
  readonly services: readonly SimulatedService[];
  /** How long it is watched. */
  readonly lastsMs: number;
}

export interface EventfulWorld extends World {
  /** What happens to the daemon, each so long after the one before. */
  readonly happenings: readonly { readonly afterMs: number; readonly happening: Happening }[];
}

/** Evenly between 0 and 1, as numbers with a point are not drawn by themselves: half of those are next to nothing. */
export const shares = fc.integer({ min: 0, max: 1_000_000 }).map((millionths) => millionths / 1e6);

type Timing = Pick<
  SimulatedService,
  'everyMs' | 'timeoutMs' | 'recheckMs' | 'confirm' | 'restore' | 'hangs'
>;

const timings: fc.Arbitrary<Timing> = fc.record({
  everyMs: fc.constantFrom(5_000, 10_000, 30_000, 60_000),
  timeoutMs: fc.integer({ min: 500, max: 5_000 }),
  recheckMs: fc.integer({ min: 1_000, max: 5_000 }),
  confirm: fc.integer({ min: 1, max: 3 }),
  restore: fc.integer({ min: 1, max: 3 }),
  hangs: fc.boolean(),
});

/**
 * The shortest stay that cannot escape notice: an interval, with the moment that the timetable keeps clear before an
 * instant of its grid, and then as many exchanges as confirm it, each of which may take all its time.
 */
export function surelySeenMs(timing: Timing): number {
  const { everyMs, timeoutMs, recheckMs, confirm, restore } = timing;
  const exchanges = Math.max(confirm, restore);
  return everyMs + Math.min(everyMs / 10, 1_000) + timeoutMs + exchanges * (recheckMs + timeoutMs);
}

function service(id: string, timing: Timing, more: Partial<SimulatedService>): SimulatedService {
  return {
    id,
    ...timing,
    unanswered: 'down',
    silent: false,
    needs: [],
    through: [],
    course: courseOf([{ lastsMs: 0, condition: 'good' }]),
    latency: { medianMs: 20, sigma: 0.7 },
    loss: 0,
    ...more,
  };
}

/** A service with nothing peculiar, asked every 10 s. */
export function steady(id: string, more: Partial<SimulatedService> = {}): SimulatedService {
  const timing = {
    everyMs: 10_000,
    timeoutMs: 2_000,
    recheckMs: 2_000,
    confirm: 2,
    restore: 1,
    hangs: false,
  };
  return service(id, timing, more);
}

/** A stay that is long enough, by a share of itself up to ten times; a served one may have reservations in part. */
const longStays = fc.array(
  fc.record({
    longer: shares.map((share) => 10 * share),
    poor: shares,
  }),
  { minLength: 1, maxLength: 20 },
);

/** Every stay exceeds interval and confirmation, no packet is lost, and somebody always looks. */
export const calmWorlds: fc.Arbitrary<World> = fc
  .record({
    seed: fc.nat(),
    plans: fc.array(fc.tuple(timings, fc.boolean(), longStays), { minLength: 1, maxLength: 3 }),
  })
  .map(({ seed, plans }) => {
    let lastsMs = 0;
    const services = plans.map(([timing, beginsUp, longs], nth) => {
      const least = surelySeenMs(timing);
      const stays = longs.flatMap(({ longer, poor }, place) => {
        // The first answer comes a moment after the beginning.
        const stayMs = Math.ceil(least * (1 + longer)) + (place === 0 ? 2_000 : 0);
        const isUp = beginsUp === (place % 2 === 0);
        const poorMs = Math.floor(stayMs * poor);
        return isUp
          ? [
              { lastsMs: stayMs - poorMs, condition: 'good' as Condition },
              { lastsMs: poorMs, condition: 'poor' as Condition },
            ]
          : [{ lastsMs: stayMs, condition: 'bad' as Condition }];
      });
      const total = stays.reduce((sum, stay) => sum + stay.lastsMs, 0);
      lastsMs = Math.max(lastsMs, total + 2 * least);
      return service(`service-${nth}`, timing, {
        course: courseOf(stays.filter((stay) => stay.lastsMs > 0)),
      });
    });
    return { seed, services, lastsMs };
  });

const minuteMs = 60_000;

/** Much of what happens is short, some of it long. */
const whiles = fc.oneof(
  fc.integer({ min: 0, max: minuteMs }),
  fc.integer({ min: 0, max: 20 * minuteMs }),
  fc.integer({ min: 0, max: 6 * 60 * minuteMs }),
);

const steps = fc
  .tuple(whiles, fc.boolean())
  .map(([ms, isBack]): Happening => ({ kind: 'step', byMs: isBack ? -ms : ms }));

const happenings = fc.array(
  fc.record({
    // A daemon that has just begun has looked once before the next thing happens.
    afterMs: fc.integer({ min: 3_000, max: 10 * minuteMs }),
    happening: fc.oneof(
      fc
        .tuple(fc.constantFrom('restart' as const, 'cut-off' as const, 'reboot' as const), whiles)
        .map(([kind, forMs]): Happening => ({ kind, forMs })),
      fc
        .tuple(fc.constantFrom('suspend' as const, 'stall' as const), whiles)
        .map(([kind, forMs]): Happening => ({ kind, forMs })),
      // The watch goes on meanwhile, and takes its time in this test.
      fc
        .integer({ min: 0, max: 10 * minuteMs })
        .map((forMs): Happening => ({ kind: 'slow-disk', forMs })),
      steps,
    ),
  }),
  { maxLength: 12 },
);

/** Up and down for any time, packets lost, daemons restarted and clocks set. */
const rough = fc.record({
  timing: timings,
  loss: fc.constantFrom(0, 0, 0.01, 0.1, 0.4),
  stays: fc.array(
    fc.record({
      lastsMs: fc.oneof(
        fc.integer({ min: 1, max: minuteMs }),
        fc.integer({ min: 1, max: 20 * minuteMs }),
      ),
      condition: fc.constantFrom<Condition>('good', 'good', 'poor', 'bad', 'bad'),
    }),
    { minLength: 1, maxLength: 20 },
  ),
});

export const roughWorlds: fc.Arbitrary<EventfulWorld> = fc
  .record({ seed: fc.nat(), plans: fc.array(rough, { minLength: 1, maxLength: 3 }), happenings })
  .map(({ seed, plans, happenings: all }) => ({
    seed,
    services: plans.map(({ timing, loss, stays }, nth) =>
      service(`service-${nth}`, timing, { loss, course: courseOf(stays) }),
    ),
    happenings: all,
    lastsMs: 60 * minuteMs,
  }));

/** The same, but that what does not serve is silent, and the owner says what that means. */
export const quietWorlds: fc.Arbitrary<EventfulWorld> = fc
  .tuple(
    roughWorlds,
    fc.array(fc.constantFrom('down' as const, 'unobserved' as const), {
      minLength: 3,
      maxLength: 3,
    }),
  )
  .map(([world, meanings]) => ({
    ...world,
    services: world.services.map((one, nth) => ({
      ...one,
      silent: true,
      unanswered: meanings[nth] ?? 'down',
    })),
  }));

/** The same, but that services need each other, or are seen through one another. */
export const relatedWorlds: fc.Arbitrary<EventfulWorld> = fc
  .record({
    seed: fc.nat(),
    plans: fc.array(
      fc.record({
        plan: rough,
        needs: fc.array(fc.nat(), { maxLength: 2 }),
        through: fc.array(fc.nat(), { maxLength: 1 }),
      }),
      { minLength: 2, maxLength: 5 },
    ),
    happenings,
  })
  .map(({ seed, plans, happenings: all }) => {
    // Only of those before it, so that there is no circle, which the configuration refuses.
    const idsBefore = (nth: number, drawn: readonly number[]) =>
      nth === 0 ? [] : [...new Set(drawn.map((one) => `service-${one % nth}`))];
    return {
      seed,
      services: plans.map(({ plan: { timing, loss, stays }, ...relations }, nth) => {
        const needs = idsBefore(nth, relations.needs);
        const through = idsBefore(nth, relations.through).filter((id) => !needs.includes(id));
        return service(`service-${nth}`, timing, { loss, course: courseOf(stays), needs, through });
      }),
      happenings: all,
      lastsMs: 60 * minuteMs,
    };
  });

const dayMs = 24 * 60 * minuteMs;

/** Days of two services, for records that put them away. */
export const longWorlds: fc.Arbitrary<EventfulWorld> = fc
  .record({
    seed: fc.nat(),
    plans: fc.tuple(rough, rough),
    all: fc.array(
      fc.record({
        afterMs: fc.integer({ min: 3_000, max: dayMs }),
        happening: fc.oneof(
          fc
            .tuple(fc.constantFrom('restart' as const, 'cut-off' as const), whiles)
            .map(([kind, forMs]): Happening => ({ kind, forMs })),
          whiles.map((forMs): Happening => ({ kind: 'suspend', forMs })),
          steps,
        ),
      }),
      { maxLength: 8 },
    ),
  })
  .map(({ seed, plans, all }) => ({
    seed,
    services: plans.map(({ timing, loss, stays }, nth) =>
      service(
        `service-${nth}`,
        { ...timing, everyMs: minuteMs },
        {
          loss,
          course: courseOf(stays.map((stay) => ({ ...stay, lastsMs: 10 * stay.lastsMs }))),
        },
      ),
    ),
    happenings: all,
    lastsMs: 3 * dayMs,
  }));
