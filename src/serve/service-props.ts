/** One service's page from the record: state, last answer, the day, thirty days, outages, and what it hangs together with. */
import type {
  FactProps,
  FigureProps,
  LinkProps,
  OutageRowProps,
  PhaseProps,
  ServicePageProps,
} from '../../web/props.ts';
import { nameCharsMax, outagesOnPageCountMax, whereCharsMax } from '../base/limits.ts';
import type { Standing } from '../base/standing.ts';
import { cleanText } from '../base/text.ts';
import type { Facts, Observation, Outage, Phases, ServiceCard } from '../base/values.ts';
import type { Availability } from '../uptime/availability.ts';
import { surelySeenMs } from '../uptime/missed.ts';
import { mtbfConfidence } from '../uptime/mtbf-bounds.ts';
import type { Board } from './board.ts';
import { figuresWindowMs } from './figures.ts';
import { namedService, openLink, outagePage, servicePage } from './links.ts';
import { figuresProps, lastOf, remarksOf } from './roll-props.ts';
import { stripOf } from './strip.ts';
import { layerWord, noteLines, sentence, troubleOf } from './trouble-props.ts';
import { sayLasting, sayTook, unbroken } from './zone.ts';

export async function serviceProps(
  board: Board,
  card: ServiceCard,
): Promise<Omit<ServicePageProps, 'frame' | 'ask'>> {
  const now = board.clock.wallMs();
  const standing = board.standingOf(card.id);
  const [day, days30, outages] = await Promise.all([
    board.figures.day(card.id),
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
    last: standing.last && lastOf(board, standing.last, now),
    phases: standing.last ? phasesOf(standing.last) : [],
    facts: standing.last ? factsOf(standing.last.facts) : [],
    day: stripOf(day, board.zone),
    figures: figureWords(days30),
    shortest: shortestSentence(board, card),
    outages: outages.map((outage) => outageRow(board, outage, now)),
    needs: linksTo(board, card.needs),
    neededBy: linksTo(
      board,
      board.cards.filter(({ needs }) => needs.includes(card.id)).map(({ id }) => id),
    ),
    through: linksTo(board, card.through),
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

function linksTo(board: Board, ids: readonly string[]): LinkProps[] {
  return ids.map((id) => ({
    name: cleanText(board.nameOf(id), nameCharsMax),
    href: servicePage(board, id),
  }));
}

const phaseWords: readonly (readonly [keyof Phases, string, string])[] = [
  ['resolveUs', 'resolve', 'its name into an address'],
  ['connectUs', 'connect', 'to its port'],
  ['secureUs', 'secure', 'the connection by TLS'],
  ['speakUs', 'speak', 'its protocol, up to the question'],
  ['answerUs', 'answer', 'until the answer was complete'],
];

function phasesOf({ phases, tookUs }: Observation): PhaseProps[] {
  return phaseWords.flatMap(([key, word, meaning]) => {
    const us = phases[key];
    if (us === undefined) return [];
    const share = tookUs === 0 ? 0 : Math.min(1, us / tookUs);
    return [{ word, meaning, took: sayTook(us), sharePercent: Math.round(share * 1_000) / 10 }];
  });
}

/** `serverVersion` → `server version`. */
function factsOf(facts: Facts): FactProps[] {
  return Object.entries(facts).map(([key, value]) => ({
    word: cleanText(key.replace(/([a-z0-9])([A-Z])/g, '$1 $2').toLowerCase(), nameCharsMax),
    value: typeof value === 'boolean' ? (value ? 'yes' : 'no') : cleanText(String(value)),
  }));
}

function figureWords(days: Availability): FigureProps[] {
  const { share, bounds, outages, restored } = figuresProps(days);
  const observedMs = days.upMs + days.degradedMs + days.downMs;
  return [
    {
      word: 'Availability',
      value: share ?? 'nothing observed',
      aside: bounds,
      meaning:
        bounds === null
          ? 'Share of the observed time in which it was up; degraded counts as up.'
          : 'Share of the observed time in which it was up; degraded counts as up. An outage begins and ends between two answers: the bounds say how much that may be.',
    },
    {
      word: 'Outages',
      value: outages,
      aside: days.downMs === 0 ? null : `${sayLasting(days.downMs)} in all`,
      meaning: 'Failures that a second question confirmed.',
    },
    {
      word: 'Mean time to restoration',
      value: restored ?? 'none to measure',
      aside: null,
      meaning: 'From the failure until it answered again, the time to notice included.',
    },
    {
      word: 'Mean time between failures',
      value: days.mtbfMs === null ? 'no failure' : sayLasting(days.mtbfMs),
      aside: sayMtbfBounds(days),
      meaning: `Up time for each failure, and how far so few failures can be trusted (${mtbfConfidence * 100} % confidence).`,
    },
    {
      word: 'Observed',
      value: sayLasting(observedMs),
      aside: days.unobservedMs === 0 ? null : `of ${sayLasting(figuresWindowMs)}`,
      meaning: 'Time that nobody watched counts neither as up nor as down.',
    },
  ];
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

function outageRow(board: Board, outage: Outage, now: number): OutageRowProps {
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

/** Failures up to which the bounds are worth a line: beyond that the mean speaks for itself. */
const fewFailuresCountMax = 10;

function sayMtbfBounds({ mtbfBounds, outages }: Availability): string | null {
  if (!mtbfBounds || outages > fewFailuresCountMax) return null;
  const { lowMs, highMs } = mtbfBounds;
  if (highMs === null) return `probably more than ${sayLasting(lowMs)}`;
  return `probably ${sayLasting(lowMs)} to ${sayLasting(highMs)}`;
}
