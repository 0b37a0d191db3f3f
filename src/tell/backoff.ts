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

export interface Tried {
  /** HTTP status; null when there was no answer. */
  readonly status: number | null;
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
  const { status, now } = tried;
  if (status !== null && status >= 200 && status < 300) return { state: 'delivered' };
  if (status !== null && isPermanent(status)) return { state: 'dead' };
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

/** The receiver will not change its mind: 4xx, but not 408 (timed out), 425 (too early), 429 (too many) (design §9). */
function isPermanent(status: number): boolean {
  return status >= 400 && status < 500 && status !== 408 && status !== 425 && status !== 429;
}
