/** What is wrong, as the pages show it: cause, since when, layer, what to look at, link, note. */

import type { TroubleProps } from '../../web/props.ts';
import { nameCharsMax, noteCharsMax, noteLinesCountMax } from '../base/limits.ts';
import type { Layer } from '../base/reasons.ts';
import type { Standing } from '../base/standing.ts';
import { cleanText } from '../base/text.ts';
import type { ServiceCard, Trouble } from '../base/values.ts';
import type { Board } from './board.ts';
import { openLink, outagePage, servicePage } from './links.ts';
import { type Stand, troubled } from './sentence.ts';
import { sayLasting } from './zone.ts';

const layerWords: Readonly<Record<Layer, string>> = {
  name: 'Name',
  network: 'Network',
  port: 'Port',
  tls: 'TLS',
  protocol: 'Protocol',
  answer: 'Answer',
  job: 'Job',
};

export function layerWord(layer: Layer): string {
  return layerWords[layer];
}

/** Everything that is wrong, the worst first; what is down behind a cause stands with that cause. */
export function wrongOf(stands: readonly Stand[]): readonly Stand[] {
  const wrong = troubled(stands);
  const causes = new Set(
    wrong
      .filter(({ standing }) => standing.state === 'down' && standing.causeId === null)
      .map(({ id }) => id),
  );
  const folded = (standing: Standing) =>
    standing.state === 'down' && standing.causeId !== null && causes.has(standing.causeId);
  return wrong.filter(({ standing }) => !folded(standing));
}

export function troublesOf(board: Board, wrong: readonly Stand[], now: number): TroubleProps[] {
  return wrong.flatMap(({ id }) => {
    const card = board.cardOf(id);
    return card ? [troubleOf(board, card, now)] : [];
  });
}

/** One service's trouble, with those that are down because of it. */
export function troubleOf(board: Board, card: ServiceCard, now: number): TroubleProps {
  const standing = board.standingOf(card.id);
  const { since, outage, causeId, hiddenBy } = standing;
  const gateway = hiddenBy === null ? null : board.nameOf(hiddenBy);
  const moment = (at: number | null) => (at === null ? null : board.zone.moment(at, now));
  // The reason why it is down is the one that confirmed it; the latest may be a detail of the way back. A job that failed
  // and is overdue by now has but the latest: it is looked at, not asked.
  const trouble =
    standing.state === 'down' && card.kind !== 'job'
      ? (outage?.trouble ?? standing.last?.trouble ?? null)
      : (standing.last?.trouble ?? null);
  return {
    id: card.id,
    name: cleanText(card.name, nameCharsMax),
    page: servicePage(board, card.id),
    state: standing.state,
    since: moment(since),
    lasting: since === null ? null : sayLasting(now - since),
    // What was seen through a gateway that is gone says nothing about the service.
    layer: gateway === null && trouble ? layerWord(trouble.layer) : null,
    what:
      gateway === null
        ? whatOf(standing, trouble, causeId === null ? null : board.nameOf(causeId)) +
          inferred(standing, (at) => board.zone.moment(at, now).text)
        : `Only through ${gateway}, which is down: nobody can tell how it is.`,
    look: gateway === null ? (trouble?.hint ?? null) : `Look at ${gateway} first.`,
    note: noteLines(card.note),
    open: openLink(card.open),
    outage: outage ? outagePage(board, outage.id) : null,
    behind: board.cards
      .filter(({ id }) => {
        const other = board.standingOf(id);
        return other.state === 'down' && other.causeId === card.id;
      })
      .map(({ id, name }) => ({
        name: cleanText(name, nameCharsMax),
        href: servicePage(board, id),
      })),
  };
}

export function standsOf(board: Board): readonly Stand[] {
  return board.cards.map(({ id, kind }) => ({
    id,
    name: board.nameOf(id),
    isJob: kind === 'job',
    standing: board.standingOf(id),
    planned: board.plannedUntil(id) !== null,
  }));
}

/** The owner's note, line by line. */
export function noteLines(note: string | null): string[] {
  return (note ?? '')
    .slice(0, noteCharsMax)
    .split('\n')
    .map((line) => cleanText(line, noteCharsMax))
    .filter((line) => line !== '')
    .slice(0, noteLinesCountMax);
}

/** A clause made a sentence: capital and full stop. */
export function sentence(clause: string): string {
  const text = clause.trim();
  return `${text.slice(0, 1).toUpperCase()}${text.slice(1)}${/[.!?\u2026]$/.test(text) ? '' : '.'}`;
}

function whatOf(standing: Standing, trouble: Trouble | null, cause: string | null): string {
  const seen = trouble ? sentence(trouble.detail) : null;
  if (standing.state === 'unobserved') {
    // An answer without trouble is older than the silence: since then nobody has asked.
    return seen ?? 'Nobody has looked since then.';
  }
  if (cause === null) return seen ?? 'It does not answer as it should.';
  return `It needs ${cause}, which is down.${seen === null ? '' : ` ${seen}`}`;
}

/** Silence that its protocol allows proves nothing by itself: that it answered before does. */
function inferred({ state, outage }: Standing, textOf: (at: number) => string): string {
  if (state !== 'down' || outage?.trouble.reason !== 'silent' || outage.lastGoodAt === null)
    return '';
  return ` It answered until ${textOf(outage.lastGoodAt)} and has been silent since: that it is down is inferred.`;
}
