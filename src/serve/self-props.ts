/** Rollcall about itself: whether it can write its record, and what it could not tell anybody. */
import type { SelfProps } from '../../web/props.ts';
import { queuedObservationsCountMax, selfTroubleCharsMax } from '../base/limits.ts';
import { cleanText } from '../base/text.ts';
import type { RecordHealth } from '../record/record.ts';
import type { ChannelState } from '../tell/state.ts';
import type { Board } from './board.ts';
import { sayCount, saySize } from './zone.ts';

export function selfProps(board: Board, now: number): SelfProps {
  const health = board.record.health();
  const { channels, deadLetters } = board.telling();
  const { troubles, startedAt } = board.self();
  // The gravest first.
  const wrong = [
    ...recordTroubles(health),
    ...troubles.map((text) => cleanText(text, selfTroubleCharsMax)),
    ...channels.filter(isFailing).map((channel) => failingSentence(board, channel, now)),
  ];
  return {
    alarm: wrong[0] ?? undelivered(deadLetters.length),
    troubles: wrong,
    deadLetters: deadLetters.map(({ at, summary, channel, detail }) => ({
      at: board.zone.moment(at, now),
      summary: cleanText(summary, selfTroubleCharsMax),
      channel,
      said: detail === '' ? null : cleanText(detail),
    })),
    remarks: [
      ...recordRemarks(board, health, now),
      ...(channels.length === 0 ? ['Nobody is told: no channel is configured.'] : []),
      `Running since ${board.zone.moment(startedAt, now).text}.`,
    ],
  };
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

function recordRemarks(board: Board, health: RecordHealth, now: number): string[] {
  if (!health.writable) return [];
  const size = saySize(health.sizeBytes);
  return health.lastCommitAt === null
    ? [`The record is open and takes ${size}.`]
    : [
        `The record was last written at ${board.zone.exact(health.lastCommitAt, now).text} and takes ${size}.`,
      ];
}
