/** The roll's page from the record: one sentence, what is wrong, the roll by group, and the house itself. */

import type {
  FiguresProps,
  GroupProps,
  LastProps,
  RollPageProps,
  RowProps,
} from '../../web/props.ts';
import { nameCharsMax } from '../base/limits.ts';
import { cleanText } from '../base/text.ts';
import type { Observation, ServiceCard } from '../base/values.ts';
import type { Availability } from '../uptime/availability.ts';
import { sayShare } from '../uptime/say.ts';
import type { Board } from './board.ts';
import { openLink, servicePage } from './links.ts';
import { selfProps } from './self-props.ts';
import { sentenceOf } from './sentence.ts';
import { stripOf, ticksOf } from './strip.ts';
import { standsOf, troublesOf } from './trouble-props.ts';
import { sayCount, sayLasting, sayTook, unbroken } from './zone.ts';

const dayMs = 24 * 3_600_000;

export async function rollProps(board: Board): Promise<Omit<RollPageProps, 'frame'>> {
  const now = board.clock.wallMs();
  const day = { from: now - dayMs, to: now };
  return {
    now: board.zone.whole(now),
    sentence: rollSentence(board, now),
    troubles: troublesOf(board, now),
    groups: grouped(
      board.cards,
      await Promise.all(board.cards.map((card) => rowOf(board, card, now))),
    ),
    day,
    ticks: ticksOf(day, board.zone),
    self: selfProps(board, now),
  };
}

export function rollSentence(board: Board, now: number): string {
  return sentenceOf(standsOf(board), (at) => board.zone.moment(at, now).text);
}

async function rowOf(board: Board, card: ServiceCard, now: number): Promise<RowProps> {
  const standing = board.standingOf(card.id);
  const [day, days30] = await Promise.all([
    board.figures.day(card.id),
    board.figures.days30(card.id),
  ]);
  return {
    id: card.id,
    name: cleanText(card.name, nameCharsMax),
    open: openLink(card.open),
    page: servicePage(board, card.id),
    kind: card.kind,
    state: standing.state,
    since: standing.since === null ? null : board.zone.moment(standing.since, now),
    remarks: remarksOf(board, card.id),
    last: standing.last && lastOf(board, standing.last, now),
    day: stripOf(day, board.zone),
    figures: figuresProps(days30),
  };
}

/** What else is to be said of a state. */
export function remarksOf(board: Board, serviceId: string): string[] {
  const { suspect, unsteady, causeId, last, state } = board.standingOf(serviceId);
  return [
    ...(last === null && state === 'unobserved' ? ['not asked yet'] : []),
    ...(suspect ? ['asked again'] : []),
    ...(unsteady ? ['unsteady'] : []),
    ...(causeId === null ? [] : [`behind ${cleanText(board.nameOf(causeId), nameCharsMax)}`]),
  ];
}

export function lastOf(board: Board, last: Observation, now: number): LastProps {
  const words = {
    answered: null,
    limited: 'with reservations',
    failed: 'failed',
    unproven: 'silent',
  };
  return {
    at: board.zone.exact(last.at, now),
    took: sayTook(last.tookUs),
    unlike: words[last.outcome],
  };
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

/** In the order in which groups and services are configured; those without a group first. */
function grouped(cards: readonly ServiceCard[], rows: readonly RowProps[]): GroupProps[] {
  const groups = new Map<string | null, RowProps[]>([[null, []]]);
  cards.forEach((card, index) => {
    const name = card.group === null ? null : cleanText(card.group, nameCharsMax);
    const row = rows[index];
    if (row) groups.set(name, [...(groups.get(name) ?? []), row]);
  });
  return [...groups]
    .map(([name, members]) => ({ name, rows: members }))
    .filter(({ rows: r }) => r.length > 0);
}
