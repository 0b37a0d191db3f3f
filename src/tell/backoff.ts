/**
 * What follows an attempt: delivered, another try, or a dead letter.
 * Exponential pauses with full jitter (a random part of the whole pause), so that many messages that failed together do
 * not come back together. Common practice; the figures are ours: 2 s, 4 s, 8 s … at most 15 min.
 */
import { deadLetterAfterMs, deliveryBackoffMsMax } from '../base/limits.ts';
import type { Attempt } from '../record/record.ts';

const backoffMsMin = 2_000;
/** Doubling stops to matter long before numbers overflow. */
const doublingsCountMax = 30;

/** What the other side made of a message: it has it, it will never take it, or it may take it later. */
export type Reception = 'taken' | 'refused' | 'later';

export interface Tried {
  readonly reception: Reception;
  /** What the receiver asked for, already bounded. */
  readonly retryAfterMs: number | null;
  /** When the answer, or its absence, was known. */
  readonly now: number;
  /** When the first attempt began. */
  readonly firstAttemptAt: number;
  /** Attempts before this one. */
  readonly attemptsBefore: number;
}

/** @param random in [0, 1) */
export function nextStep(tried: Tried, random: () => number): Attempt['next'] {
  const { reception, now } = tried;
  if (reception === 'taken') return { state: 'delivered' };
  if (reception === 'refused') return { state: 'dead' };
  if (now - tried.firstAttemptAt >= deadLetterAfterMs) return { state: 'dead' };
  const pauseMs = random() * backoffMs(tried.attemptsBefore);
  const delayMs = Math.max(pauseMs, tried.retryAfterMs ?? 0);
  return { state: 'waiting', nextAttemptAt: now + Math.round(delayMs) };
}

/** The whole pause of which a random part is taken. */
function backoffMs(attemptsBefore: number): number {
  const doublings = Math.min(attemptsBefore, doublingsCountMax);
  return Math.min(deliveryBackoffMsMax, backoffMsMin * 2 ** doublings);
}

/** 2xx is delivery; a 4xx is final, but not 408 (timed out), 425 (too early), 429 (too many) (design §9). */
export function receptionOfHttp(status: number): Reception {
  if (status >= 200 && status < 300) return 'taken';
  const passes = status === 408 || status === 425 || status === 429;
  return status >= 400 && status < 500 && !passes ? 'refused' : 'later';
}

/** RFC 5321 §4.2.1: 2yz completed, 4yz transient, 5yz permanent. */
export function receptionOfSmtp(code: number): Reception {
  if (code >= 200 && code < 300) return 'taken';
  return code >= 500 && code < 600 ? 'refused' : 'later';
}
