/**
 * The outbox at work: takes what is due, each lane in its order, several lanes at a time, and sleeps until the next.
 * A lane (one channel, one outage) carries one message at a time, so that `up` never overtakes `down`. What quiet hours
 * hold back waits in the record as it is, and what a channel does not take goes to its fallback as well.
 */
import { type Alarm, type Clock, within } from '../base/clock.ts';
import { messageOf } from '../base/errors.ts';
import {
  deadLettersCountMax,
  deliveryLanesCountMax,
  deliverySleepMsMax,
  stopGraceMs,
} from '../base/limits.ts';
import type { Log } from '../base/log.ts';
import type { Delivery, Record } from '../record/record.ts';
import { type Attempts, createAttempts } from './attempt.ts';
import { createFallbacks, type FallbackChannel } from './fallback.ts';
import type { QuietChannel } from './quiet.ts';
import type { TellStateKeeper } from './state.ts';
import { createSumming, type QuietWays } from './summing.ts';
import type { Send } from './webhook.ts';

type DeliveryRecord = Pick<
  Record,
  | 'dueDeliveries'
  | 'nextDeliveryAt'
  | 'claim'
  | 'attempted'
  | 'deadLetters'
  | 'undelivered'
  | 'commit'
  | 'outage'
>;

type AnyChannel = QuietChannel & FallbackChannel;

export interface DeliveryParts<Channel extends AnyChannel> {
  readonly record: DeliveryRecord;
  readonly channels: readonly Channel[];
  readonly clock: Clock;
  readonly log: Log;
  /** In [0, 1). */
  readonly random: () => number;
  readonly send: Send<Channel>;
  readonly state?: TellStateKeeper;
  /** Without them there are no quiet hours. */
  readonly ways?: QuietWays;
}

export interface DeliveryRun {
  /** Notices were added: look now. */
  wake(): void;
  /** Begins nothing more; running attempts have 2 s to end and are cut then. Afterwards the record is not touched. */
  stop(): Promise<void>;
}

/** Where something is due that cannot begin yet, or cannot be put down, the outbox is looked at again after this. */
const busyPauseMs = 1_000;
/** Where the outbox cannot be read. */
const brokenPauseMs = 10_000;

export function startDelivery<Channel extends AnyChannel>(
  parts: DeliveryParts<Channel>,
): DeliveryRun {
  const { record, clock, log, state, ways } = parts;
  const summing = ways ? createSumming({ ...parts, ways }) : null;
  const fallbacks = createFallbacks(parts);
  const cut = new AbortController();
  const attempts = createAttempts({
    ...parts,
    channels: new Map(parts.channels.map((channel) => [channel.name, channel])),
    state: state ?? null,
    cut: cut.signal,
    failed: fallbacks.failed,
  });
  const lanes = createLanes(attempts, () => looking.again());
  const looking = repeated(clock, async () => {
    try {
      const divertAt = await fallbacks.divert(summing?.held() ?? []);
      // Nothing waits, nearly always: one look at an index is enough to know.
      if ((await record.nextDeliveryAt()) === null) return deliverySleepMsMax;
      await summing?.sumUp();
      const quiet = summing?.held() ?? [];
      const now = clock.wallMs();
      // What rests is listed as well, and must not hide the others.
      const countMax = deliveryLanesCountMax + attempts.unsavedCount();
      for (const delivery of await record.dueDeliveries(now, countMax, quiet)) {
        lanes.offer(delivery);
      }
      const nextAt = await record.nextDeliveryAt(quiet);
      const beforeAt = soonest([divertAt, summing?.changesAt() ?? null]);
      // What is due and busy is looked at again after a moment; an instant that is past is none to wait for.
      return Math.min(pauseMs(nextAt, clock.wallMs()), pauseMs(beforeAt, clock.wallMs()));
    } catch (thrown) {
      log.error({ error: messageOf(thrown) }, 'the outbox cannot be read');
      return brokenPauseMs;
    }
  });

  const recalling = recall(parts);
  looking.again();
  return {
    wake: looking.again,
    stop: async () => {
      lanes.close();
      await within(clock, stopGraceMs, Promise.all([recalling, looking.stop(), lanes.idle()]));
      cut.abort();
    },
  };
}

function pauseMs(nextAt: number | null, now: number): number {
  if (nextAt === null) return deliverySleepMsMax;
  return nextAt <= now ? busyPauseMs : Math.min(nextAt - now, deliverySleepMsMax);
}

function soonest(instants: readonly (number | null)[]): number | null {
  const known = instants.filter((at) => at !== null);
  return known.length === 0 ? null : Math.min(...known);
}

/** The board shows dead letters of earlier runs as well. */
async function recall<Channel extends AnyChannel>({
  record,
  state,
  log,
}: DeliveryParts<Channel>): Promise<void> {
  if (!state) return;
  try {
    state.remembered(await record.deadLetters(deadLettersCountMax));
  } catch (thrown) {
    log.error({ error: messageOf(thrown) }, 'dead letters cannot be read');
  }
}

interface Lanes {
  /** Begins, where the lane is free and there is room. */
  offer(delivery: Delivery): void;
  close(): void;
  idle(): Promise<unknown>;
}

function createLanes(attempts: Attempts, whenFree: () => void): Lanes {
  const running = new Map<string, Promise<void>>();
  let isOpen = true;

  const run = async (lane: string, delivery: Delivery): Promise<void> => {
    let hasMoved = false;
    try {
      hasMoved = await attempts.take(delivery, () => isOpen);
    } finally {
      running.delete(lane);
    }
    // Otherwise the same delivery would come back at once: the next regular look is soon enough.
    if (hasMoved) whenFree();
  };
  return {
    offer: (delivery) => {
      const lane = laneOf(delivery);
      if (!isOpen || running.size >= deliveryLanesCountMax) return;
      if (running.has(lane) || attempts.isResting(delivery)) return;
      running.set(lane, run(lane, delivery));
    },
    close: () => {
      isOpen = false;
    },
    idle: () => Promise.all(running.values()),
  };
}

/** As the record has it: one channel, one outage. Notices without an outage keep to their service. */
function laneOf({ notice, channel }: Delivery): string {
  return `${channel} ${notice.outageId ?? notice.serviceId ?? notice.id}`;
}

interface Repeated {
  /** Now; and once more when it is under way. */
  again(): void;
  /** No more; resolves when a running one has ended. */
  stop(): Promise<void>;
}

/** Does `work` again after the pause that it asks for (milliseconds), one at a time. */
function repeated(clock: Clock, work: () => Promise<number>): Repeated {
  let alarm: Alarm | null = null;
  let running: Promise<void> | null = null;
  let isWanted = false;
  let isStopped = false;

  const laps = async (): Promise<void> => {
    let pause = 0;
    while (isWanted && !isStopped) {
      isWanted = false;
      pause = await work();
    }
    running = null;
    if (!isStopped) alarm = clock.after(pause, again);
  };
  const again = (): void => {
    if (isStopped) return;
    isWanted = true;
    alarm?.cancel();
    running ??= laps();
  };
  return {
    again,
    stop: async () => {
      isStopped = true;
      alarm?.cancel();
      await running;
    },
  };
}
