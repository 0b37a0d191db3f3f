/** Rollcall about itself: whether it can write its record, and what it could not tell anybody. */
import { queuedObservationsCountMax, selfTroubleCharsMax } from '../base/limits.ts';
import { cleanText } from '../base/text.ts';
import type { RecordHealth } from '../record/record.ts';
import type { ChannelState } from '../tell/state.ts';
import type { Board } from './board.ts';
import { sayCount } from './zone.ts';

/** What is wrong with Rollcall itself in one sentence, the gravest of it; null: nothing is. */
export function alarmOf(board: Board, now: number): string | null {
  return selfTroubles(board, now)[0] ?? undelivered(board.telling().deadLetters.length);
}

/** Sentences, the gravest first; empty: nothing is wrong. */
export function selfTroubles(board: Board, now: number): string[] {
  return [
    ...recordTroubles(board.record.health()),
    ...board.self().troubles.map((text) => cleanText(text, selfTroubleCharsMax)),
    ...board
      .telling()
      .channels.filter(isFailing)
      .map((channel) => failingSentence(board, channel, now)),
  ];
}

function undelivered(count: number): string | null {
  return count === 0 ? null : `${sayCount(count, 'notice')} could not be told.`;
}

/** Sentences about a record that cannot keep what is observed, or that was damaged. */
export function recordTroubles(health: RecordHealth): string[] {
  const troubles: string[] = [];
  if (!health.writable) {
    const waiting = sayCount(health.queuedCount, 'observation waits', 'observations wait');
    const most = queuedObservationsCountMax.toLocaleString('en-GB');
    troubles.push(
      `The record cannot be written: ${health.trouble ?? 'no reason is known'}. Asking and telling go on; ${waiting} in memory (of ${most} at most).`,
    );
  }
  if (health.droppedCount > 0) {
    const lost = sayCount(health.droppedCount, 'observation is', 'observations are');
    troubles.push(`${lost} lost, because the record could not be written for too long.`);
  }
  if (health.damage !== null) troubles.push(health.damage);
  return troubles;
}

/** The last attempt failed. */
export function isFailing({ lastFailure, lastDeliveredAt }: ChannelState): boolean {
  return lastFailure !== null && lastFailure.at > (lastDeliveredAt ?? Number.NEGATIVE_INFINITY);
}

function failingSentence(board: Board, channel: ChannelState, now: number): string {
  const { name, lastFailure, waitingCount } = channel;
  const at = lastFailure ? board.zone.exact(lastFailure.at, now).text : '';
  const waiting = sayCount(waitingCount, 'notice waits', 'notices wait');
  return `The channel “${name}” did not take a notice at ${at}: ${cleanText(lastFailure?.detail ?? '')}; ${waiting} for another try.`;
}
