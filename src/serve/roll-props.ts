/** The roll's page from the record: one sentence, what is wrong, the roll by group, and the house itself. */

import type { RollPageProps } from '../../web/props.ts';
import {
  findFromCount,
  nameCharsMax,
  namesInSentenceCountMax,
  plannedSoonMs,
  troublesOnPageCountMax,
} from '../base/limits.ts';
import { cleanText } from '../base/text.ts';
import { listed } from '../base/words.ts';
import type { Board } from './board.ts';
import { chartRange } from './charts.ts';
import { findProps, type RollAsked, searched } from './find.ts';
import { lanesOf } from './lane-props.ts';
import { aboutPage, plannedPage } from './links.ts';
import { groupsOf } from './roll-groups.ts';
import { alarmOf } from './self-props.ts';
import { type Stand, sentenceOf } from './sentence.ts';
import { latenciesOf, sheetOf } from './strip.ts';
import { troublesOf, wrongOf } from './trouble-props.ts';
import { sayLasting } from './zone.ts';

export async function rollProps(
  board: Board,
  asked: RollAsked,
  stands: readonly Stand[],
): Promise<Omit<RollPageProps, 'frame'>> {
  const now = board.clock.wallMs();
  const cards = searched(board, asked);
  const lanes = await lanesOf(board, cards, now);
  const strips = lanes.flatMap(({ strip }) => strip ?? []);
  const wrong = wrongOf(stands);
  const alarm = alarmOf(board, now);
  return {
    now: board.zone.whole(now),
    sentence: rollSentence(board, now, stands),
    troubles: troublesOf(board, wrong.slice(0, troublesOnPageCountMax), now),
    moreTroubles: moreText(wrong.length - troublesOnPageCountMax),
    alarm: alarm === null ? null : { sentence: alarm, more: aboutPage(board) },
    find: board.cards.length < findFromCount ? null : findProps(board, asked, cards),
    groups: await groupsOf(board, { cards, lanes, asked }),
    sheet: sheetOf(chartRange('day', now), board.zone, latenciesOf(strips, false)),
    planned: await plannedProps(board, now),
  };
}

async function plannedProps(board: Board, now: number): Promise<RollPageProps['planned']> {
  const day = { from: now, to: now + plannedSoonMs };
  const windows = (await board.planned?.between(day)) ?? [];
  const works = windows
    .filter(({ from }) => from > now)
    .map(({ name, from, to }) => {
      const at = board.zone.moment(from, now).text;
      return `${cleanText(name, nameCharsMax)} at ${at} for ${sayLasting(to - from)}`;
    });
  if (works.length === 0) return null;
  const sentence = `To come: ${listed(works, namesInSentenceCountMax)}.`;
  return { sentence, more: plannedPage(board) };
}

function moreText(count: number): string | null {
  if (count <= 0) return null;
  return `${count} more ${count === 1 ? 'is' : 'are'} marked on the roll.`;
}

export function rollSentence(board: Board, now: number, stands: readonly Stand[]): string {
  const moment = (at: number) => board.zone.moment(at, now).text;
  return [sentenceOf(stands, moment), runningSentence(board, moment)].join(' ').trim();
}

/** `Sunday updates until 04:45.` */
function runningSentence({ planned }: Board, moment: (at: number) => string): string {
  const running = planned?.running() ?? [];
  if (running.length === 0) return '';
  const works = running.map(
    ({ name, to }) => `${cleanText(name, nameCharsMax)} until ${moment(to)}`,
  );
  return `Planned: ${listed(works, namesInSentenceCountMax)}.`;
}
