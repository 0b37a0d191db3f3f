/** The roll's page from the record: one sentence, what is wrong, the roll by group, and the house itself. */

import type { FiguresProps, LaneProps, LastProps, RollPageProps } from '../../web/props.ts';
import { certificateIn } from '../base/certificate-facts.ts';
import {
  findFromCount,
  nameCharsMax,
  namesInSentenceCountMax,
  plannedSoonMs,
  stripsCountMax,
  troublesOnPageCountMax,
} from '../base/limits.ts';
import { cleanText } from '../base/text.ts';
import type { Observation, ServiceCard } from '../base/values.ts';
import { listed } from '../base/words.ts';
import type { Availability } from '../uptime/availability.ts';
import { sayShare } from '../uptime/say.ts';
import type { Board } from './board.ts';
import { chartRange } from './charts.ts';
import { findProps, type RollAsked, searched } from './find.ts';
import { jobLast, jobRemarks } from './job-words.ts';
import { aboutPage, openLink, plannedPage, servicePage } from './links.ts';
import { groupsOf } from './roll-groups.ts';
import { alarmOf } from './self-props.ts';
import { sentenceOf } from './sentence.ts';
import { latenciesOf, sheetOf, stripOf } from './strip.ts';
import { standsOf, troublesOf } from './trouble-props.ts';
import { sayCount, sayLasting, sayTook, unbroken } from './zone.ts';

export async function rollProps(
  board: Board,
  asked: RollAsked,
): Promise<Omit<RollPageProps, 'frame'>> {
  const now = board.clock.wallMs();
  const cards = searched(board, asked);
  const lanes = await Promise.all(cards.map((card) => laneOf(board, card, { now, cards })));
  const strips = lanes.flatMap(({ strip }) => strip ?? []);
  const troubles = troublesOf(board, now);
  const alarm = alarmOf(board, now);
  return {
    now: board.zone.whole(now),
    sentence: rollSentence(board, now),
    troubles: troubles.slice(0, troublesOnPageCountMax),
    moreTroubles: moreText(troubles.length - troublesOnPageCountMax),
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

export function rollSentence(board: Board, now: number): string {
  const moment = (at: number) => board.zone.moment(at, now).text;
  return [sentenceOf(standsOf(board), moment), runningSentence(board, moment)].join(' ').trim();
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

interface Roll {
  readonly now: number;
  /** All that are on it. */
  readonly cards: readonly ServiceCard[];
}

export async function laneOf(
  board: Board,
  card: ServiceCard,
  { now, cards }: Roll,
): Promise<LaneProps> {
  const standing = board.standingOf(card.id);
  const isDrawn = cards.length <= stripsCountMax || standing.state !== 'up';
  const [chart, days30] = await Promise.all([
    isDrawn ? board.figures.chart(card.id, 'day') : null,
    board.figures.days30(card.id),
  ]);
  return asBefore(card, {
    id: card.id,
    name: cleanText(card.name, nameCharsMax),
    open: openLink(card.open),
    page: servicePage(board, card.id),
    kind: card.kind,
    state: standing.state,
    since: standing.since === null ? null : board.zone.moment(standing.since, now),
    remarks: remarksOf(board, card.id),
    last: board.jobs?.planOf(card.id)
      ? jobLast(board, board.jobs, card.id)
      : standing.last && lastOf(board, standing.last, now),
    strip: chart && stripOf(chart, 'Last 24 hours'),
    figures: figuresProps(days30),
  });
}

/** The same lane is the same thing, so that it is not written anew. */
function asBefore(card: ServiceCard, lane: LaneProps): LaneProps {
  const words = JSON.stringify({ ...lane, strip: null });
  const known = lanesBefore.get(card);
  if (known?.words === words && known.lane.strip === lane.strip) return known.lane;
  lanesBefore.set(card, { words, lane });
  return lane;
}

const lanesBefore = new WeakMap<
  ServiceCard,
  { readonly words: string; readonly lane: LaneProps }
>();

/** What else is to be said of a state. */
export function remarksOf(board: Board, serviceId: string): string[] {
  const plannedUntil = board.plannedUntil(serviceId);
  const { suspect, unsteady, causeId, last, state } = board.standingOf(serviceId);
  return [
    ...(last === null && state === 'unobserved' ? ['not asked yet'] : []),
    ...(suspect ? ['asked again'] : []),
    ...(unsteady ? ['unsteady, so single changes are not told'] : []),
    ...(plannedUntil === null ? [] : [`planned until ${momentOf(board, plannedUntil)}`]),
    ...(causeId === null ? [] : [`behind ${cleanText(board.nameOf(causeId), nameCharsMax)}`]),
    ...certificateRemarks(last, board.clock.wallMs()),
    ...jobRemarks(board, serviceId),
  ];
}

/** A flag of its own: it neither hides how the service is nor changes it. */
function certificateRemarks(last: Observation | null, now: number): string[] {
  const certificate = last && certificateIn(last.facts);
  if (!certificate?.isNear) return [];
  const { endsAt } = certificate;
  return [
    endsAt > now ? `certificate ends in ${sayLasting(endsAt - now)}` : 'certificate has ended',
  ];
}

function momentOf({ zone, clock }: Board, at: number): string {
  return zone.moment(at, clock.wallMs()).text;
}

export function lastOf(board: Board, last: Observation, now: number): LastProps {
  const words = {
    answered: null,
    limited: 'with reservations',
    failed: 'failed',
    unproven: 'silent',
  };
  const took = sayTook(last.tookUs);
  const unlike = words[last.outcome];
  const reading = last.outcome === 'limited' ? took : (unlike ?? took);
  return { at: board.zone.exact(last.at, now), took, unlike, reading };
}

export function figuresProps(days: Availability): FiguresProps {
  const { estimate, low, high, outages, mttrMs } = days;
  return {
    share: estimate === null ? null : unbroken(sayShare(estimate)),
    bounds: boundsOf(estimate, low, high),
    outages: sayCount(outages, 'outage'),
    restored: mttrMs === null ? null : sayLasting(mttrMs),
  };
}

/** Only where they differ from the estimate as it is written. */
function boundsOf(estimate: number | null, low: number | null, high: number | null): string | null {
  if (estimate === null || low === null || high === null) return null;
  const [lowText, highText] = [sayShare(low), sayShare(high)];
  if (lowText === highText) return null;
  return `${lowText.replace(/ %$/, '')} to ${highText}`;
}
