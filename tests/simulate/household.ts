/**
 * A household in a simulated world: the daemon's own parts (presence, timetable, rounds, judge, drafter, outbox) over a
 * record, joined as `daemon.ts` and `house.ts` join them, and everything that happens to a daemon in its life.
 */
import { type Clock, pause } from '../../src/base/clock.ts';
import type { Happening as Answered } from '../../src/base/happenings.ts';
import { silentLog } from '../../src/base/log.ts';
import type { Standing } from '../../src/base/standing.ts';
import type { ServiceCard } from '../../src/base/values.ts';
import { type Chores, choresOf, choreTimes } from '../../src/chores.ts';
import { came, clockSet, keepBeat } from '../../src/presence.ts';
import type { Notice, Record } from '../../src/record/record.ts';
import type { ChannelChoice } from '../../src/tell/channel.ts';
import type { Answer } from '../../src/tell/webhook.ts';
import { Watch, type WatchedService } from '../../src/watch.ts';
import { type SimulatedClock, simulatedClock } from '../support/clock-simulated.ts';
import { chance } from './chance.ts';
import { pulseOf, type Shelf } from './shelf.ts';
import { createWorld, type Look, type SimulatedService, type World } from './world.ts';

/** 2026-11-25T00:00:00Z: where the world begins, unless it is said. */
export const startMs = 1_795_564_800_000;

export type Happening =
  | { readonly kind: 'restart' | 'cut-off' | 'reboot'; readonly forMs: number }
  | { readonly kind: 'suspend' | 'stall' | 'slow-disk'; readonly forMs: number }
  | { readonly kind: 'step'; readonly byMs: number };

/** A message that reached the receiver. */
export interface Heard {
  readonly at: number;
  readonly channel: string;
  readonly notice: Notice;
}

export interface HouseholdGiven {
  readonly services: readonly SimulatedService[];
  readonly seed: number;
  readonly shelf: Shelf;
  readonly onLook?: (look: Look) => void;
  /** Each answer once it is judged, with how the service stands then. */
  readonly onAnswer?: (answered: Answered, standing: Standing) => void;
  readonly startMs?: number;
  readonly settleMs?: number;
  /** None unless given: nothing is drafted then. */
  readonly channels?: readonly ChannelChoice[];
  /** Share of attempts that a receiver turns away. */
  readonly refusals?: number;
  /** Called at the chores' times of the UTC day, as the daemon's timer would; nothing is done unless given. */
  readonly chores?: (daemon: Daemon) => Pick<Chores, 'catchUp'>;
}

export interface Household {
  readonly clock: SimulatedClock;
  readonly world: World;
  readonly heard: readonly Heard[];
  /** Milliseconds since the world began, which no clock setting changes. */
  now(): number;
  /** The daemon's first life begins. */
  begin(): Promise<void>;
  /** Time passes. */
  live(forMs: number): Promise<void>;
  happen(happening: Happening): Promise<void>;
  /** What waits for the next group is written now. */
  flush(): Promise<void>;
  /** An orderly end. */
  end(): Promise<void>;
}

/** A daemon's parts that its chores work with. */
export interface Daemon {
  readonly clock: Clock;
  readonly record: Record;
}

/** All that a daemon does at night, but for backups. */
export function allChores(daemon: Daemon): Chores {
  const settings = { keepDays: null, backup: null };
  return choresOf({ ...daemon, log: silentLog, settings: () => settings });
}

interface Life {
  readonly clock: Clock & { end(): void };
  readonly record: Record;
  readonly watch: Watch<string, ChannelChoice>;
  readonly chores: Pick<Chores, 'catchUp'> | null;
  stop(): Promise<void>;
}

export function household(given: HouseholdGiven): Household {
  const { services, seed, shelf, onLook = () => {}, chores } = given;
  const beganMs = given.startMs ?? startMs;
  const clock = simulatedClock({ wallMs: beganMs, bootMs: 600_000, between: 'promises' });
  const bootedMs = clock.bootMs();
  const now = () => clock.bootMs() - bootedMs;
  const world = createWorld({ services, seed, now, onLook });
  const receiver = createReceiver(given);
  let bootAheadMs = 0;
  let nextNotice = 0;
  let life: Life | null = null;
  let choresAt = chores ? nextChores(beganMs) : Number.POSITIVE_INFINITY;

  const living = (): Life => {
    if (!life) throw new Error('the daemon does not run');
    return life;
  };
  const advance = async (forMs: number): Promise<void> => {
    for (let left = forMs; left > 0; ) {
      const part = Math.min(left, Math.max(choresAt - clock.wallMs(), 0));
      await clock.advance(part);
      left -= part;
      if (clock.wallMs() < choresAt) continue;
      choresAt = nextChores(clock.wallMs());
      // Work on files, which the simulated clock knows nothing of: time stands still meanwhile.
      await living().chores?.catchUp(clock.wallMs());
    }
  };
  /** Lets as much time pass as it takes. */
  const until = async <Value>(work: Promise<Value>): Promise<Value> => {
    let isDone = false;
    const done = work.finally(() => {
      isDone = true;
    });
    await clock.advance(0);
    while (!isDone) await clock.advance(50);
    return done;
  };
  const begin = async (): Promise<void> => {
    const own = lifeClock(clock, () => bootAheadMs);
    const record = await shelf.open(own);
    const watch = new Watch<string, ChannelChoice>({
      clock: own,
      log: silentLog,
      record,
      services: services.map(watched),
      channels: given.channels ?? [],
      settleMs: given.settleMs ?? 0,
      ask: world.ask,
      send: receiver.sender(own),
      show: (answered) => given.onAnswer?.(answered, watch.standingOf(answered.serviceId)),
      newId: () => `notice-${++nextNotice}`,
      random: receiver.random,
    });
    const parts = { clock: own, record, log: silentLog };
    await until(clockSet(parts, () => {}));
    await came(parts);
    await watch.recall();
    watch.begin();
    const beating = keepBeat(parts);
    const stop = async (): Promise<void> => {
      await watch.stop();
      await record.disturbed({ at: own.wallMs(), kind: 'stopped', byMs: 0 });
      beating.stop();
      await record.close(pulseOf(own));
    };
    const duties = chores?.({ clock: own, record }) ?? null;
    life = { clock: own, record, watch, chores: duties, stop };
  };
  const stop = async (): Promise<void> => {
    const { clock: own, stop: end } = living();
    await until(end());
    own.end();
    life = null;
  };
  const away = async (how: 'restart' | 'cut-off' | 'reboot', forMs: number): Promise<void> => {
    if (how === 'cut-off') {
      living().clock.end();
      life = null;
      await shelf.cutOff();
    } else await stop();
    await clock.advance(forMs);
    if (how === 'reboot') bootAheadMs = -clock.bootMs();
    await begin();
  };

  return {
    clock,
    world,
    heard: receiver.heard,
    now,
    begin,
    live: advance,
    happen: async (happening) => {
      switch (happening.kind) {
        case 'restart':
        case 'cut-off':
        case 'reboot':
          return away(happening.kind, happening.forMs);
        case 'suspend':
          return clock.suspend(happening.forMs);
        case 'stall':
          return clock.stall(happening.forMs);
        case 'step':
          return clock.step(happening.byMs);
        case 'slow-disk':
          shelf.breakWrites('no space left on device');
          await advance(happening.forMs);
          return shelf.breakWrites(null);
      }
    },
    flush: () => living().record.flush(pulseOf(clock)),
    end: stop,
  };
}

/** The clock as one process sees it: when that is gone, nothing of it goes off any more. */
function lifeClock(clock: SimulatedClock, bootAheadMs: () => number): Clock & { end(): void } {
  let isOver = false;
  const ahead = bootAheadMs();
  return {
    wallMs: clock.wallMs,
    monotonicMs: clock.monotonicMs,
    bootMs: () => clock.bootMs() + ahead,
    after: (delayMs, then) =>
      clock.after(delayMs, () => {
        if (!isOver) then();
      }),
    end: () => {
      isOver = true;
    },
  };
}

/** The first instant after `now` at which a chore has its time. */
function nextChores(now: number): number {
  const dayMs = 24 * 3_600_000;
  const today = Math.floor(now / dayMs) * dayMs;
  const times = Object.values(choreTimes).flatMap((time) => [today + time, today + dayMs + time]);
  return Math.min(...times.filter((time) => time > now));
}

function createReceiver({ seed, refusals = 0 }: HouseholdGiven) {
  const luck = chance(seed, 'receiver');
  const heard: Heard[] = [];
  return {
    heard,
    random: luck.next,
    sender:
      (clock: Clock) =>
      async (channel: ChannelChoice, notice: Notice): Promise<Answer> => {
        const isRefused = refusals > 0 && luck.next() < refusals;
        if (!isRefused) heard.push({ at: clock.wallMs(), channel: channel.name, notice });
        // The answer is on its way for a while: the daemon may be gone before it comes.
        await pause(clock, luck.lognormal(40, 1));
        return isRefused
          ? { status: 503, reception: 'later', detail: 'answered 503', retryAfterMs: null }
          : { status: 204, reception: 'taken', detail: 'answered 204', retryAfterMs: null };
      },
  };
}

function watched(service: SimulatedService): WatchedService<string> {
  const { id, everyMs, timeoutMs, recheckMs, confirm, restore, unanswered, needs, through } =
    service;
  const card: ServiceCard = {
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
  return {
    id,
    card,
    everyMs,
    timeoutMs,
    recheckMs,
    confirm,
    restore,
    unanswered,
    needs,
    through,
    slowMs: null,
    slower: {},
    minGapMs: 0,
    fingerprint: 'settings',
    probe: id,
  };
}
