/** Which services a long roll shows: all, those of one group, or those in which some words are found. */
import type { FindProps } from '../../web/props.ts';
import { findCharsMax, nameCharsMax } from '../base/limits.ts';
import { cleanText } from '../base/text.ts';
import type { ServiceCard } from '../base/values.ts';
import type { Board } from './board.ts';
import { sayMembers } from './job-words.ts';
import { rollPage } from './links.ts';

export interface RollAsked {
  /** Words that are looked for; empty: none. */
  readonly find: string;
  /** The one group that is wanted; null: all. */
  readonly group: string | null;
}

/** From the query of an address, whatever it holds. */
export function rollAsked(query: unknown): RollAsked {
  const { find, group } = (query ?? {}) as { readonly find?: unknown; readonly group?: unknown };
  return {
    find: typeof find === 'string' ? cleanText(find, findCharsMax) : '',
    group: typeof group === 'string' && group !== '' ? cleanText(group, nameCharsMax) : null,
  };
}

/** Every word must be found: in the name, the group, the kind, or the state. */
export function searched(board: Board, { find, group }: RollAsked): readonly ServiceCard[] {
  const words = folded(find).split(' ').filter(Boolean);
  if (words.length === 0 && group === null) return board.cards;
  return board.cards.filter((card) => {
    const cardGroup = cleanText(card.group ?? '', nameCharsMax);
    if (group !== null && cardGroup !== group) return false;
    const { state } = board.standingOf(card.id);
    const stateWord = state === 'unobserved' ? 'not observed' : state;
    const text = folded(`${card.name} ${cardGroup} ${card.kind} ${stateWord}`);
    return words.every((word) => text.includes(word));
  });
}

/** `found`: what is on the page. */
export function findProps(
  board: Board,
  { find, group }: RollAsked,
  found: readonly ServiceCard[],
): FindProps {
  const all = board.cards.length.toLocaleString('en-GB');
  return {
    action: rollPage(board),
    words: find,
    found:
      find === '' && group === null
        ? null
        : `${sayMembers(found)} of ${all}${group === null ? '' : ` in ${group}`}.`,
  };
}

/** Without case and accents. The script of the page does the same. */
function folded(text: string): string {
  return text.normalize('NFKD').replace(/\p{M}/gu, '').toLowerCase();
}
