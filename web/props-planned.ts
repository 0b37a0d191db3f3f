/** What the page of planned work is given: see props.ts. */
import type { FormProps } from './owner-props.ts';
import type { FrameProps, MomentProps, NamedProps } from './props.ts';

export interface PlannedPageProps {
  readonly frame: FrameProps;
  readonly now: MomentProps;
  readonly sentence: string;
  readonly running: readonly PlannedWindowProps[];
  readonly toCome: readonly PlannedWindowProps[];
  /** The last first. */
  readonly past: readonly PlannedWindowProps[];
  /** Address of the calendar. */
  readonly file: string;
  /** Null: nobody is signed in. */
  readonly plan: PlanFormProps | null;
}

export interface PlannedWindowProps {
  readonly id: string;
  readonly name: string;
  readonly why: string | null;
  readonly from: MomentProps;
  readonly to: MomentProps;
  readonly lasting: string;
  /** Null: every service. */
  readonly services: readonly NamedProps[] | null;
  /** Null: it cannot be ended from here. */
  readonly end: FormProps | null;
}

export interface PlanFormProps extends FormProps {
  readonly whyCharsMax: number;
  /** On whose clock times are read. */
  readonly zone: string;
  readonly services: readonly { readonly id: string; readonly name: string }[];
}
