/** What the page of the household is given: nothing that does not stand here can be shown there. */
import type { MomentProps, StateWord } from './props.ts';

export interface HouseholdPageProps {
  readonly boardTitle: string;
  /** Of the document; begins with the state. */
  readonly title: string;
  /** A `data:` address. */
  readonly icon: string;
  readonly now: MomentProps;
  readonly sentence: string;
  readonly groups: readonly HouseholdGroupProps[];
}

export interface HouseholdGroupProps {
  readonly name: string | null;
  readonly services: readonly {
    readonly name: string;
    readonly state: StateWord;
    /** Under planned work. */
    readonly planned: boolean;
  }[];
}
