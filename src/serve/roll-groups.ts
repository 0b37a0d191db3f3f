/** The groups of the roll, in the order in which they and their services are configured; those without a group first. */
import type { GroupProps, LaneProps } from '../../web/props.ts';
import { foldFromCount, nameCharsMax } from '../base/limits.ts';
import { cleanText } from '../base/text.ts';
import type { ServiceCard, State } from '../base/values.ts';
import { sayShare } from '../uptime/say.ts';
import type { Board } from './board.ts';
import type { RollAsked } from './find.ts';
import { sayMembers } from './job-words.ts';
import { groupPage } from './links.ts';
import { unbroken } from './zone.ts';

interface Shown {
  readonly cards: readonly ServiceCard[];
  /** One for each card. */
  readonly lanes: readonly LaneProps[];
  readonly asked: RollAsked;
}

export async function groupsOf(
  board: Board,
  { cards, lanes, asked }: Shown,
): Promise<GroupProps[]> {
  const groups = new Map<string | null, LaneProps[]>([[null, []]]);
  cards.forEach((card, index) => {
    const name = cleanText(card.group ?? '', nameCharsMax) || null;
    const lane = lanes[index];
    const members = groups.get(name);
    if (!lane) return;
    if (members) members.push(lane);
    else groups.set(name, [lane]);
  });
  const isSearched = asked.find !== '' || asked.group !== null;
  const isFolded = !isSearched && cards.length >= foldFromCount && groups.size > 2;
  const shown = [...groups].filter(([, members]) => members.length > 0);
  const made = await Promise.all(
    shown.map(async ([name, members]) => ({
      name,
      count: countsText(members),
      // Of a part of a group the share would be that of no group.
      share: name === null || asked.find !== '' ? null : await shareOf(board, members),
      page:
        name === null || members.every(({ strip }) => strip !== null)
          ? null
          : groupPage(board, name),
      open: !isFolded || members.some(({ state }) => state !== 'up'),
      lanes: members,
    })),
  );
  return isSearched ? made : made.map((group) => asBefore(board, group));
}

/** The same group is the same thing, so that it is not written anew. */
function asBefore(board: Board, group: GroupProps): GroupProps {
  const groups = groupsBefore.get(board) ?? new Map<string | null, GroupProps>();
  groupsBefore.set(board, groups);
  const known = groups.get(group.name);
  if (known && isSame(known, group)) return known;
  groups.set(group.name, group);
  return group;
}

const groupsBefore = new WeakMap<Board, Map<string | null, GroupProps>>();

/** The rest is made of these. */
function isSame(one: GroupProps, other: GroupProps): boolean {
  return (
    one.share === other.share &&
    one.lanes.length === other.lanes.length &&
    one.lanes.every((lane, index) => lane === other.lanes[index])
  );
}

/** In which all of them were up; null where there is one alone, which says it itself. */
async function shareOf(board: Board, lanes: readonly LaneProps[]): Promise<string | null> {
  if (lanes.length < 2) return null;
  const { estimate } = await board.figures.group30(lanes.map(({ id }) => id));
  return estimate === null ? null : unbroken(sayShare(estimate));
}

/** `6 services and 1 job, 2 down, 1 degraded`. */
function countsText(lanes: readonly LaneProps[]): string {
  const of = (state: State, word: string): string[] => {
    const count = lanes.filter((lane) => lane.state === state).length;
    return count === 0 ? [] : [`${count} ${word}`];
  };
  return [
    sayMembers(lanes),
    ...of('down', 'down'),
    ...of('degraded', 'degraded'),
    ...of('unobserved', 'not observed'),
  ].join(', ');
}
