/**
 * A year of five services, asked every minute, with a real database: the whole watch, the chores at their times, daemons
 * restarted and cut off, a machine that sleeps. And what is so, kept beside it in plain lists.
 */
import type { Record } from '../../src/record/record.ts';
import { chance } from './chance.ts';
import { type Condition, courseOf } from './course.ts';
import { type Daemon, type Happening, household, startMs } from './household.ts';
import { sqliteShelf } from './shelf-sqlite.ts';
import type { Look, SimulatedService } from './world.ts';
import { surelySeenMs } from './worlds.ts';

const minuteMs = 60_000;
const dayMs = 24 * 60 * minuteMs;

export interface YearGiven {
  readonly days: number;
  readonly seed?: number;
  readonly everyMs?: number;
  readonly servicesCount?: number;
  /** Where the database is made; in memory, where the machine has such a file system, unless given. */
  readonly folder?: string;
  /** False: nothing is kept but the record itself. For measurements. */
  readonly keepsTruth?: boolean;
}

export interface Year {
  readonly services: readonly SimulatedService[];
  /** Open, as after one more start, for reading. */
  readonly record: Record;
  readonly startMs: number;
  readonly endedAt: number;
  readonly roundsCount: number;
  readonly heardCount: number;
  /** The answers of a service, in order. */
  looksOf(id: string): readonly Look[];
  /** Closes the record and removes its files. */
  end(): Promise<void>;
}

export async function liveYear(given: YearGiven): Promise<Year> {
  const { days, seed = 20_261_125, folder, keepsTruth = true } = given;
  const services = servicesOf(given, seed);
  const shelf = sqliteShelf(folder);
  const looks = new Map(services.map(({ id }): [string, Look[]] => [id, []]));
  let roundsCount = 0;
  const house = household({
    services,
    seed,
    shelf,
    channels: [{ name: 'phone', only: null }],
    refusals: 0.2,
    chores: yearChores,
    onLook: (look) => {
      roundsCount++;
      if (keepsTruth) looks.get(look.service)?.push(look);
    },
  });
  await house.begin();
  for (const { at, happening } of happeningsOf(days, seed)) {
    await house.live(at - house.now());
    // Random worlds lose what waited. Here each answer counts.
    if (happening.kind === 'cut-off') await house.flush();
    await house.happen(happening);
  }
  await house.live(days * dayMs - house.now());
  const endedAt = house.clock.wallMs();
  await house.end();
  const record = await shelf.open(house.clock);
  return {
    services,
    record,
    startMs,
    endedAt,
    roundsCount,
    heardCount: house.heard.length,
    looksOf: (id) => looks.get(id) ?? [],
    end: async () => {
      await record.close({ wallMs: endedAt, bootMs: 0, bootId: '' });
      shelf.end();
    },
  };
}

/** Days are put away when they are over. All is looked through once a month: done nightly, that alone would take a while. */
function yearChores({ record }: Daemon) {
  return {
    catchUp: async (now: number): Promise<void> => {
      const date = new Date(now);
      if (date.getUTCHours() === 0) await record.upkeep.seal(now);
      else if (date.getUTCDate() === 1) await record.upkeep.verify();
    },
  };
}

/** Outages every few days, none so short that it could be missed; packets are lost, but three in a row hardly ever. */
function servicesOf(given: YearGiven, seed: number): readonly SimulatedService[] {
  const { days, everyMs = minuteMs, servicesCount = 5 } = given;
  return Array.from({ length: servicesCount }, (_, nth) => {
    const id = `service-${nth}`;
    const luck = chance(seed, `course of ${id}`);
    const timing = {
      everyMs,
      timeoutMs: 5_000,
      recheckMs: 5_000,
      confirm: 3,
      restore: 1,
      hangs: nth % 2 === 0,
    };
    const least = surelySeenMs(timing) + 10 * minuteMs;
    const stays: { lastsMs: number; condition: Condition }[] = [];
    for (let total = 0; total < days * dayMs; ) {
      const turn: typeof stays = [
        { lastsMs: Math.round(least + luck.exponential(4 * dayMs)), condition: 'good' },
        { lastsMs: Math.round(luck.exponential(30 * minuteMs)) + 1, condition: 'poor' },
        { lastsMs: Math.round(luck.exponential(dayMs)) + 1, condition: 'good' },
        { lastsMs: Math.round(least + luck.exponential(20 * minuteMs)), condition: 'bad' },
      ];
      stays.push(...turn);
      total += turn.reduce((sum, { lastsMs }) => sum + lastsMs, 0);
    }
    return {
      id,
      ...timing,
      unanswered: 'down',
      silent: false,
      needs: [],
      through: [],
      course: courseOf(stays),
      latency: { medianMs: 5 * (nth + 1), sigma: 0.6 },
      loss: 0.0005,
    };
  });
}

/** Every week a restart, every month a process that dies, a night asleep, a minute in which nothing gets its turn. */
function happeningsOf(
  days: number,
  seed: number,
): readonly { readonly at: number; readonly happening: Happening }[] {
  const luck = chance(seed, 'happenings');
  const all: { at: number; happening: Happening }[] = [];
  const every = (daysBetween: number, happening: () => Happening): void => {
    for (let day = luck.next() * daysBetween; day < days - 1; day += daysBetween) {
      all.push({ at: Math.round((day + 0.5) * dayMs), happening: happening() });
    }
  };
  every(7, () => ({ kind: 'restart', forMs: Math.round(luck.exponential(2 * minuteMs)) }));
  every(29, () => ({ kind: 'cut-off', forMs: Math.round(luck.exponential(10 * minuteMs)) }));
  every(31, () => ({ kind: 'suspend', forMs: Math.round(8 * 60 * minuteMs * luck.next()) }));
  every(37, () => ({ kind: 'stall', forMs: 2 * minuteMs }));
  return all.sort((one, other) => one.at - other.at);
}
