/** Rollcall about itself, in full: what is wrong, how the daemon is, and who is told. */
import type { AboutPageProps, FigureProps } from '../../web/props.ts';
import type { Lateness } from '../base/lateness.ts';
import { nameCharsMax, selfTroubleCharsMax } from '../base/limits.ts';
import { cleanText } from '../base/text.ts';
import type { ChannelState } from '../tell/state.ts';
import type { Board, SelfReport } from './board.ts';
import { sayMembers } from './job-words.ts';
import { channelsPage } from './links.ts';
import type { OwnProcess } from './own-process.ts';
import { isFailing, selfTroubles } from './self-props.ts';
import { sayCount, sayLasting, saySize, sayTook } from './zone.ts';

export function aboutProps(board: Board, own: OwnProcess): Omit<AboutPageProps, 'frame'> {
  const now = board.clock.wallMs();
  const troubles = selfTroubles(board, now);
  const { channels, deadLetters } = board.telling();
  return {
    now: board.zone.whole(now),
    sentence: sentenceOf(troubles.length + (deadLetters.length > 0 ? 1 : 0)),
    troubles,
    deadLetters: deadLetters.map(({ at, summary, channel, detail }) => ({
      at: board.zone.moment(at, now),
      summary: cleanText(summary, selfTroubleCharsMax),
      channel: cleanText(channel, nameCharsMax),
      said: detail === '' ? null : cleanText(detail),
    })),
    figures: [
      ...daemonFigures(board, now, own.memoryBytes),
      ...recordFigures(board, now, own.writtenBytes),
    ],
    channels: {
      sentence: toldSentence(channels),
      more: channels.length === 0 ? null : channelsPage(board),
    },
  };
}

function sentenceOf(wrongCount: number): string {
  return wrongCount === 0 ? 'Rollcall itself is well.' : `Something is wrong with Rollcall itself.`;
}

function daemonFigures(board: Board, now: number, memoryBytes: number): FigureProps[] {
  const { startedAt, lateness, pulse = null } = board.self();
  return [
    figure('Version', board.version, ''),
    figure(
      'Running',
      sayLasting(now - startedAt),
      'Without a break.',
      `since ${board.zone.moment(startedAt, now).text}`,
    ),
    ...latenessFigures(lateness()),
    ...pulseFigures(pulse, (at) => board.zone.exact(at, now).text),
    figure('On the roll', sayMembers(board.cards), ''),
    figure('Memory', saySize(memoryBytes), 'What the process holds.'),
  ];
}

/** Nothing where nobody is called. */
function pulseFigures(
  pulse: NonNullable<SelfReport['pulse']> | null,
  textOf: (at: number) => string,
): FigureProps[] {
  if (pulse === null) return [];
  const { takenAt, trouble, isSilent } = pulse;
  return [
    figure(
      'Pulse',
      takenAt === null ? 'not taken yet' : textOf(takenAt),
      isSilent
        ? 'Silent, because something is wrong here: whoever listens for it notices.'
        : 'The last call to whoever notices when Rollcall falls silent.',
      trouble === null ? null : cleanText(trouble),
    ),
  ];
}

/** Nothing where nobody was asked yet. */
function latenessFigures({ startsCount, p50Ms, p99Ms, skippedCount }: Lateness): FigureProps[] {
  if (p50Ms === null || p99Ms === null) return [];
  const skipped = skippedCount === 0 ? '' : ` ${sayCount(skippedCount, 'turn')} never came.`;
  return [
    figure(
      'Lateness',
      sayTook(p50Ms * 1_000),
      `How long after it was due a question began, in the middle of the last ${sayCount(startsCount, 'question')}.${skipped}`,
      `${sayTook(p99Ms * 1_000)} at most for 99 of 100`,
    ),
  ];
}

function recordFigures(board: Board, now: number, writtenBytes: number | null): FigureProps[] {
  const { sizeBytes, lastCommitAt, queuedCount, writable } = board.record.health();
  return [
    figure('Record', saySize(sizeBytes), 'On the disk.'),
    ...(writtenBytes === null
      ? []
      : [figure('Written', saySize(writtenBytes), 'To the disk, since the start.')]),
    figure(
      'Last written',
      lastCommitAt === null ? 'not yet' : board.zone.exact(lastCommitAt, now).text,
      writable
        ? 'Routine answers are written in groups, a change at once.'
        : 'It cannot be written at present.',
    ),
    figure('Queue', sayCount(queuedCount, 'answer'), 'What waits in memory for the next writing.'),
  ];
}

function figure(
  word: string,
  value: string,
  meaning: string,
  aside: string | null = null,
): FigureProps {
  return { word, value, meaning, aside };
}

function toldSentence(channels: readonly ChannelState[]): string {
  if (channels.length === 0) return 'Nobody is told: no channel is configured.';
  const failing = channels.filter(isFailing).length;
  const how =
    failing === 0 ? 'none of them fails' : `${failing} of them ${failing === 1 ? 'fails' : 'fail'}`;
  return `By ${sayCount(channels.length, 'channel')}; ${how}.`;
}
