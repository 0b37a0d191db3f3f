/** One service's page from the record: state, last answer, the day, thirty days, outages, and what it hangs together with. */
import type { NeighbourProps, OutageRowProps, ServicePageProps } from '../../web/props-service.ts';
import { nameCharsMax, outagesOnPageCountMax, whereCharsMax } from '../base/limits.ts';
import type { Standing } from '../base/standing.ts';
import { cleanText } from '../base/text.ts';
import type { Outage, ServiceCard } from '../base/values.ts';
import { surelySeenMs } from '../uptime/missed.ts';
import type { Board } from './board.ts';
import type { ChartLength } from './charts.ts';
import { factChanges, factsOf } from './facts.ts';
import { lastOf, remarksOf } from './lane-props.ts';
import { namedService, openLink, outagePage, servicePage } from './links.ts';
import { plannedSentences } from './planned-now.ts';
import { chartProps } from './service-chart.ts';
import { budgetWords, figureWords } from './service-figures.ts';
import { layerWord, noteLines, sentence, troubleOf } from './trouble-props.ts';
import { sayLasting, unbroken } from './zone.ts';

export async function serviceProps(
  board: Board,
  card: ServiceCard,
  length: ChartLength,
): Promise<Omit<ServicePageProps, 'frame' | 'ask'>> {
  const now = board.clock.wallMs();
  const standing = board.standingOf(card.id);
  const [chart, changes, days30, outages] = await Promise.all([
    chartProps(board, card, length),
    factChanges(board, card.id),
    board.figures.days30(card.id),
    board.record.outages(card.id, { from: 0, to: now + 1 }, outagesOnPageCountMax),
  ]);
  const name = cleanText(card.name, nameCharsMax);
  return {
    now: board.zone.whole(now),
    name,
    state: standing.state,
    sentence: standingSentence(name, standing, (at) => board.zone.moment(at, now).text),
    remarks: remarksOf(board, card.id),
    open: openLink(card.open),
    group: card.group === null ? null : cleanText(card.group, nameCharsMax),
    kind: card.kind,
    where: cleanText(card.where, whereCharsMax),
    every: sayLasting(card.everyMs),
    note: noteLines(card.note),
    trouble: standing.state === 'up' || standing.last === null ? null : troubleOf(board, card, now),
    chart,
    last: standing.last && lastOf(board, standing.last, now),
    facts: standing.last ? factsOf(board, standing.last.facts) : [],
    changes,
    figures: figureWords(days30),
    budget: await budgetWords(board, card, days30),
    shortest: shortestSentence(board, card),
    outages: outages.map((outage) => outageRow(board, outage, now)),
    planned: await plannedSentences(board, card.id, now),
    needs: neighbours(board, card.needs),
    neededBy: neighbours(
      board,
      board.cards.filter(({ needs }) => needs.includes(card.id)).map(({ id }) => id),
    ),
    through: neighbours(board, card.through),
  };
}

/** `Order book has been down since 09:14.` */
function standingSentence(
  name: string,
  { state, since, last }: Standing,
  sinceOf: (at: number) => string,
): string {
  const from = since === null ? '' : ` since ${sinceOf(since)}`;
  switch (state) {
    case 'up':
      return `${name} has been up${from}.`;
    case 'degraded':
      return `${name} has been degraded${from}.`;
    case 'down':
      return `${name} has been down${from}.`;
    case 'unobserved':
      return last === null
        ? `${name} has not been asked yet.`
        : `Whether ${name} is up, nobody can tell${from}.`;
  }
}

/** `Order book: down`, for a tab. */
export function stateTitle(name: string, { state, last }: Standing): string {
  if (state === 'unobserved') return `${name}: ${last === null ? 'not asked yet' : 'not observed'}`;
  return `${name}: ${state}`;
}

function neighbours(board: Board, ids: readonly string[]): NeighbourProps[] {
  return ids.map((id) => ({
    name: cleanText(board.nameOf(id), nameCharsMax),
    href: servicePage(board, id),
    state: board.standingOf(id).state,
  }));
}

function shortestSentence(board: Board, card: ServiceCard): string {
  const asking = board.askingOf(card.id);
  return `Asked every ${sayLasting(asking.everyMs)}, an outage of ${atLeast(surelySeenMs(asking))} or longer is surely seen; a shorter one may be missed.`;
}

/** Rounded up, as less would promise too much. */
function atLeast(durationMs: number): string {
  const seconds = Math.ceil(durationMs / 1_000);
  return seconds < 180 ? unbroken(`${seconds} s`) : sayLasting(Math.ceil(seconds / 60) * 60_000);
}

export function outageRow(board: Board, outage: Outage, now: number): OutageRowProps {
  const over = outage.restoredAt !== null;
  return {
    page: outagePage(board, outage.id),
    began: board.zone.moment(outage.firstFailedAt, now),
    lasted: sayLasting((outage.restoredAt ?? now) - outage.firstFailedAt),
    over,
    layer: layerWord(outage.trouble.layer),
    what: sentence(outage.trouble.detail),
    cause: outage.causeId === null ? null : namedService(board, outage.causeId),
  };
}
