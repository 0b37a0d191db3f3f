/** What the household may know: names and states. Everything else of a service ends here. Pure. */
import type { HouseholdGroupProps, HouseholdPageProps } from '../../web/household-props.ts';
import { nameCharsMax } from '../base/limits.ts';
import type { Standing } from '../base/standing.ts';
import { cleanText } from '../base/text.ts';
import type { State } from '../base/values.ts';
import type { BoardOptions } from './board.ts';
import { iconOf } from './icon.ts';
import { type Stand, sentenceOf, titleOf, worstOf } from './sentence.ts';
import type { Zone } from './zone.ts';

type ViewGiven = Pick<BoardOptions, 'board' | 'cards' | 'standingOf' | 'planned'>;

export function householdView(given: ViewGiven, zone: Zone, now: number): HouseholdPageProps {
  const members = given.cards.map(({ id, name, group, kind }) => ({
    name: cleanText(name, nameCharsMax),
    group: group === null ? null : cleanText(group, nameCharsMax),
    isJob: kind === 'job',
    state: given.standingOf(id).state,
    planned: given.planned?.around(id, now) != null,
  }));
  const stands = members.map((member, place) => bareStand(member, place));
  const boardTitle = cleanText(given.board.title, nameCharsMax);
  return {
    boardTitle,
    title: `${titleOf(stands)} · ${boardTitle}`,
    icon: `data:image/svg+xml,${encodeURIComponent(iconOf(worstOf(stands) ?? 'new'))}`,
    now: zone.whole(now),
    sentence: sentenceOf(stands, () => ''),
    groups: groupsOf(members),
  };
}

/** Without since, cause, outage and answers, what is said of all can only be made of names and states. */
function bareStand({ name, state, planned, isJob }: Member, place: number): Stand {
  const standing: Standing = {
    state,
    // No instant: a service that nobody has asked yet is not told apart from one that nobody can see.
    since: state === 'unobserved' ? 0 : null,
    suspect: false,
    unsteady: false,
    causeId: null,
    hiddenBy: null,
    outage: null,
    last: null,
    pacedMs: 0,
  };
  return { id: String(place), name, isJob, standing, planned };
}

interface Member {
  readonly name: string;
  readonly group: string | null;
  /** For the sentence alone. */
  readonly isJob: boolean;
  readonly state: State;
  readonly planned: boolean;
}

/** In the order of the roll; those without a group first. */
function groupsOf(members: readonly Member[]): HouseholdGroupProps[] {
  const names = [...new Set([null, ...members.map(({ group }) => group)])];
  return names
    .map((name) => ({
      name,
      services: members
        .filter(({ group }) => group === name)
        .map(({ name: service, state, planned }) => ({ name: service, state, planned })),
    }))
    .filter(({ services }) => services.length > 0);
}
