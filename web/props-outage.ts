/** What the page of one outage is given. */
import type { FormProps, OwnerNoteProps } from './owner-props.ts';
import type {
  FrameProps,
  MomentProps,
  NamedProps,
  SheetProps,
  StateWord,
  StripProps,
} from './props.ts';
import type { OutageRowProps } from './props-service.ts';

export interface CourseProps {
  readonly at: MomentProps;
  /** How long after the moment before; null with the first. */
  readonly later: string | null;
  readonly what: string;
  readonly state: StateWord;
}

export interface NoticeProps {
  readonly at: MomentProps;
  readonly summary: string;
  readonly channel: string;
  /** What became of it, in words. */
  readonly fate: string;
  readonly attempts: readonly string[];
}

export interface OutagePageProps {
  readonly frame: FrameProps;
  readonly now: MomentProps;
  readonly service: NamedProps;
  readonly sentence: string;
  /** Over, lasting, or left open because nobody asks any more. */
  readonly state: 'up' | 'down' | 'unobserved';
  readonly layer: string;
  readonly what: string;
  readonly look: string;
  readonly cause: NamedProps | null;
  readonly note: readonly string[];
  /** What was seen while it lasted: `14 times refused, twice timed out`; null: no more than the above. */
  readonly seen: string | null;
  /** Within which bounds it began and ended. */
  readonly bounds: readonly string[];
  readonly sheet: SheetProps;
  readonly strip: StripProps;
  readonly course: readonly CourseProps[];
  readonly notices: readonly NoticeProps[];
  /** When somebody said "I know"; null: nobody did. */
  readonly known: MomentProps | null;
  /** Null: nobody is signed in who may say so, or there is nothing left to say. */
  readonly know: FormProps | null;
  /** The owner's, in the order in which they were written. */
  readonly notes: readonly OwnerNoteProps[];
  /** Null: nobody is signed in who may write one. */
  readonly addNote: (FormProps & { readonly charsMax: number }) | null;
  /** Of the same service and reason, newest first. */
  readonly earlier: readonly OutageRowProps[];
  /** `4 in all`; null: those shown are all. */
  readonly earlierCount: string | null;
}
