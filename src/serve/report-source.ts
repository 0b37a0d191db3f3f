/** What a month's report is made of, from what the board knows: for the commands' socket and for pages. */
import type { ReportSource } from '../report/gather.ts';
import type { BoardOptions } from './board.ts';

type Known = Pick<BoardOptions, 'record' | 'board' | 'cards' | 'askingOf' | 'standingOf' | 'clock'>;

/** As things stand now. */
export function reportSourceOf({
  record,
  board,
  cards,
  askingOf,
  standingOf,
  clock,
}: Known): ReportSource {
  return {
    record,
    title: board.title,
    zone: board.timezone,
    now: clock.wallMs(),
    services: cards.map((card) => ({ card, asking: askingOf(card.id) })),
    openOf: (serviceId) => standingOf(serviceId).outage,
    watchedUntil: null,
  };
}
