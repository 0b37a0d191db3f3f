/**
 * One delivery taken one step further: claimed, sent, and what came of it put down.
 * At least once: what is not put down counts as not done. While the record cannot be written, results wait in memory,
 * so that a broken record repeats no message as long as the daemon runs.
 */
import type { Clock } from '../base/clock.ts';
import { messageOf } from '../base/errors.ts';
import type { Log } from '../base/log.ts';
import type { Attempt, Delivery, Notice, Record } from '../record/record.ts';
import { nextStep } from './backoff.ts';
import type { TellStateKeeper } from './state.ts';
import { type Answer, type Send, unanswered } from './webhook.ts';

export interface AttemptParts<Channel> {
  readonly record: Pick<Record, 'claim' | 'attempted'>;
  readonly channels: ReadonlyMap<string, Channel>;
  readonly clock: Clock;
  readonly log: Log;
  /** In [0, 1). */
  readonly random: () => number;
  readonly send: Send<Channel>;
  readonly state: TellStateKeeper | null;
  /** Aborted when running attempts are cut: they are then as if never answered. */
  readonly cut: AbortSignal;
  /** An attempt on this channel came to nothing. */
  readonly failed: (channel: string) => void;
}

/** A result that the record has not taken yet. */
interface Unsaved {
  readonly attempt: Attempt;
  readonly attempts: number;
  readonly firstAttemptAt: number;
  /** Monotonic; before this the record is not tried again. */
  readonly againAtMs: number;
}

/** Pause before a record that could not be written is tried again. */
const recordPauseMs = 10_000;

export interface Attempts {
  /** One step; `mayBegin` is asked once more before anything is sent. False: the outbox did not move by it. */
  take(delivery: Delivery, mayBegin: () => boolean): Promise<boolean>;
  /** Its result could not be written a moment ago: leave it alone for now. */
  isResting(delivery: Delivery): boolean;
  unsavedCount(): number;
}

export function createAttempts<Channel>(parts: AttemptParts<Channel>): Attempts {
  const { record, channels, clock, log, random, state, cut, failed } = parts;
  const unsaved = new Map<string, Unsaved>();

  const save = async (result: Omit<Unsaved, 'againAtMs'>): Promise<boolean> => {
    const key = keyOf(result.attempt.noticeId, result.attempt.channel);
    try {
      await record.attempted(result.attempt);
      unsaved.delete(key);
      return true;
    } catch (thrown) {
      // Said once for each result, not at every try.
      if (!unsaved.has(key)) {
        log.error({ error: messageOf(thrown) }, 'what came of a delivery could not be recorded');
      }
      unsaved.set(key, { ...result, againAtMs: clock.monotonicMs() + recordPauseMs });
      return false;
    }
  };

  const settle = async (delivery: Delivery, attempt: Attempt): Promise<boolean> => {
    state?.attempted(attempt, delivery.notice);
    logAttempt(log, delivery, attempt);
    if (attempt.next.state !== 'delivered') failed(attempt.channel);
    return save({
      attempt,
      attempts: delivery.attempts + 1,
      firstAttemptAt: delivery.firstAttemptAt ?? attempt.at,
    });
  };

  const send = async (delivery: Delivery, channel: Channel): Promise<boolean> => {
    const at = clock.wallMs();
    const beganMs = clock.monotonicMs();
    const answer = await answered(parts, channel, delivery);
    if (cut.aborted) return false;
    const next = nextStep(
      {
        reception: answer.reception,
        retryAfterMs: answer.retryAfterMs,
        now: clock.wallMs(),
        firstAttemptAt: delivery.firstAttemptAt ?? at,
        attemptsBefore: delivery.attempts,
      },
      random,
    );
    const tookMs = Math.round(clock.monotonicMs() - beganMs);
    const { status, detail } = answer;
    return settle(delivery, { ...idsOf(delivery), at, tookMs, status, detail, next });
  };

  return {
    take: async (listed, mayBegin) => {
      const held = unsaved.get(keyOf(listed.notice.id, listed.channel));
      if (held && (await save(held))) return true;
      if (held && !isDue(held.attempt, clock.wallMs())) return false;
      // The record lags behind what is known here.
      const delivery = held ? { ...listed, ...pick(held) } : listed;
      if (!(await claimed(parts, delivery)) || !mayBegin()) return false;
      const channel = channels.get(delivery.channel);
      if (channel !== undefined) return send(delivery, channel);
      return settle(delivery, {
        ...idsOf(delivery),
        at: clock.wallMs(),
        tookMs: 0,
        status: null,
        detail: `the channel "${delivery.channel}" is no longer configured`,
        next: { state: 'dead' },
      });
    },
    isResting: ({ notice, channel }) => {
      const held = unsaved.get(keyOf(notice.id, channel));
      return held !== undefined && held.againAtMs > clock.monotonicMs();
    },
    unsavedCount: () => unsaved.size,
  };
}

/** False: folded, withdrawn or done in the meantime. A record that cannot be written does not keep a message back. */
async function claimed<Channel>(
  { record, clock, log }: AttemptParts<Channel>,
  delivery: Delivery,
): Promise<boolean> {
  try {
    return await record.claim(delivery.notice.id, delivery.channel, clock.wallMs());
  } catch (thrown) {
    log.warn({ error: messageOf(thrown) }, 'a delivery is sent although it could not be claimed');
    return true;
  }
}

/** A sender that throws is a defect, but one that must not end the watch: the attempt has failed. */
async function answered<Channel>(
  { send, log, cut }: AttemptParts<Channel>,
  channel: Channel,
  delivery: Delivery,
): Promise<Answer> {
  try {
    return await send(channel, asSent(delivery), cut);
  } catch (thrown) {
    log.error({ channel: delivery.channel, error: messageOf(thrown) }, 'a sender is defective');
    return unanswered('the message could not be sent');
  }
}

/** Who gets it in place of another is told so. */
function asSent({ notice, fallbackFor }: Delivery): Notice {
  if (fallbackFor === null) return notice;
  return { ...notice, data: { ...notice.data, fallbackFor } };
}

function logAttempt(log: Log, delivery: Delivery, { status, detail, next }: Attempt): void {
  const fields = { ...idsOf(delivery), type: delivery.notice.type, status, detail };
  if (next.state === 'delivered') log.info(fields, 'notice delivered');
  else if (next.state === 'dead') log.error(fields, 'notice given up');
  else log.warn({ ...fields, nextAttemptAt: next.nextAttemptAt }, 'notice not delivered yet');
}

function idsOf({ notice, channel }: Delivery): { noticeId: string; channel: string } {
  return { noticeId: notice.id, channel };
}

function keyOf(noticeId: string, channel: string): string {
  return `${noticeId} ${channel}`;
}

function pick({ attempts, firstAttemptAt }: Unsaved): Pick<Unsaved, 'attempts' | 'firstAttemptAt'> {
  return { attempts, firstAttemptAt };
}

function isDue({ next }: Attempt, now: number): boolean {
  return next.state === 'waiting' && next.nextAttemptAt <= now;
}
