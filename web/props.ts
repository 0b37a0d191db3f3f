/**
 * What the pages are given: finished words, numbers and addresses. `src/serve` makes them, the components lay them
 * out and know nothing else. A text here may have come from a peer: it is bounded already, and escaped by the renderer.
 */

import type { FormProps, OwnerNoteProps, OwnerProps } from './owner-props.ts';

export type StateWord = 'up' | 'degraded' | 'down' | 'unobserved';

/** An instant: for machines in RFC 3339, for people in the board's own zone. */
export interface MomentProps {
  readonly iso: string;
  readonly text: string;
}

export interface LinkProps {
  readonly name: string;
  readonly href: string;
}

/** A service by its name, which leads to its page as long as it is on the roll. */
export interface NamedProps {
  readonly name: string;
  readonly href: string | null;
}

/** What stands around every page. */
export interface FrameProps {
  readonly boardTitle: string;
  /** Address of the roll. */
  readonly home: string;
  /** Address of the description of the API. */
  readonly programs: string;
  /** Title of the document; carries the state. */
  readonly title: string;
  readonly icon: string;
  readonly styleHref: string;
  /** Null: no script was built; the page is complete without it. */
  readonly scriptHref: string | null;
  /** Address of the feed of outages. */
  readonly feed: string;
  /** Address of the stream of what happens; null: there is none. */
  readonly live: string | null;
  readonly version: string;
  readonly zone: string;
  /** What only who is signed in finds on every page; null: nobody is. */
  readonly owner: OwnerProps | null;
}

export interface TickProps {
  readonly at: number;
  readonly label: string;
}

/** The course of a day: latency as a line, grounds where it was not simply up. Instants and microseconds. */
export interface StripProps {
  /** The whole of it in one sentence, for those who do not see it. */
  readonly label: string;
  readonly from: number;
  readonly to: number;
  /** Typical latency step by step; null where nothing was answered. */
  readonly points: readonly StripPoint[];
  readonly grounds: readonly StripGround[];
  /** Failures that were not confirmed. */
  readonly misses: readonly number[];
  readonly ticks: readonly TickProps[];
  /** Latencies at which the scale is labelled, a decade apart; the first and the last bound it. */
  readonly decades: readonly { readonly us: number; readonly label: string }[];
}

export interface StripPoint {
  readonly at: number;
  readonly typicalUs: number | null;
  readonly slowUs: number | null;
}

export interface StripGround {
  readonly state: StateWord;
  readonly from: number;
  readonly to: number;
}

/** Availability with what belongs to it, in words. */
export interface FiguresProps {
  /** `99.95 %`; null: nothing was observed. */
  readonly share: string | null;
  /** `99.93 to 99.97 %`; null where it makes no difference at the shown precision. */
  readonly bounds: string | null;
  /** `3 outages`, `no outage`. */
  readonly outages: string;
  /** Mean time to restoration. */
  readonly restored: string | null;
}

export interface LastProps {
  readonly at: MomentProps;
  readonly took: string;
  /** Null: it answered. Else how that went, in a word. */
  readonly unlike: string | null;
}

export interface RowProps {
  readonly id: string;
  readonly name: string;
  /** To the service itself. */
  readonly open: string | null;
  readonly page: string;
  readonly kind: string;
  readonly state: StateWord;
  readonly since: MomentProps | null;
  /** What else is to be said of the state: asked again, behind another, unsteady. */
  readonly remarks: readonly string[];
  readonly last: LastProps | null;
  readonly day: StripProps;
  readonly figures: FiguresProps;
}

export interface GroupProps {
  readonly name: string | null;
  readonly rows: readonly RowProps[];
}

/** One thing that is wrong. */
export interface TroubleProps {
  readonly id: string;
  readonly name: string;
  readonly page: string;
  readonly state: StateWord;
  readonly since: MomentProps | null;
  readonly lasting: string | null;
  /** The layer that failed, as a person calls it; null where nobody looked. */
  readonly layer: string | null;
  /** A sentence. */
  readonly what: string;
  readonly look: string | null;
  readonly note: readonly string[];
  readonly open: string | null;
  readonly outage: string | null;
  /** Down because of this one. */
  readonly behind: readonly LinkProps[];
}

/** Rollcall about itself. */
export interface SelfProps {
  /** What is wrong in one sentence, the gravest of it; null: nothing is. */
  readonly alarm: string | null;
  /** Sentences; empty: nothing is wrong. */
  readonly troubles: readonly string[];
  readonly deadLetters: readonly DeadLetterProps[];
  /** Sentences that say how it is when nothing is wrong. */
  readonly remarks: readonly string[];
}

export interface DeadLetterProps {
  readonly at: MomentProps;
  readonly summary: string;
  readonly channel: string;
  readonly said: string | null;
}

export interface RollPageProps {
  readonly frame: FrameProps;
  readonly now: MomentProps;
  readonly sentence: string;
  readonly troubles: readonly TroubleProps[];
  readonly groups: readonly GroupProps[];
  readonly ticks: readonly TickProps[];
  readonly day: { readonly from: number; readonly to: number };
  readonly self: SelfProps;
}

/** A word, its value, and what the word means. */
export interface FigureProps {
  readonly word: string;
  readonly value: string;
  readonly aside: string | null;
  readonly meaning: string;
}

export interface PhaseProps {
  readonly word: string;
  readonly meaning: string;
  readonly took: string;
  /** 0 to 100. */
  readonly sharePercent: number;
}

export interface FactProps {
  readonly word: string;
  readonly value: string;
}

export interface OutageRowProps {
  readonly page: string;
  readonly began: MomentProps;
  readonly lasted: string;
  readonly over: boolean;
  readonly layer: string;
  readonly what: string;
  readonly cause: NamedProps | null;
}

export interface ServicePageProps {
  readonly frame: FrameProps;
  readonly now: MomentProps;
  readonly name: string;
  readonly state: StateWord;
  readonly sentence: string;
  readonly remarks: readonly string[];
  readonly open: string | null;
  readonly group: string | null;
  readonly kind: string;
  readonly where: string;
  readonly every: string;
  readonly note: readonly string[];
  readonly trouble: TroubleProps | null;
  readonly last: LastProps | null;
  readonly phases: readonly PhaseProps[];
  readonly facts: readonly FactProps[];
  readonly day: StripProps;
  readonly figures: readonly FigureProps[];
  /** How short an outage may be and still be surely seen. */
  readonly shortest: string;
  readonly outages: readonly OutageRowProps[];
  readonly needs: readonly LinkProps[];
  readonly neededBy: readonly LinkProps[];
  readonly through: readonly LinkProps[];
  /** Null: nobody is signed in who may ask. */
  readonly ask: FormProps | null;
}

export interface CourseProps {
  readonly at: MomentProps;
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
  /** Within which bounds it began and ended. */
  readonly bounds: readonly string[];
  readonly course: readonly CourseProps[];
  readonly notices: readonly NoticeProps[];
  /** The owner's, in the order in which they were written. */
  readonly notes: readonly OwnerNoteProps[];
  /** Null: nobody is signed in who may write one. */
  readonly addNote: (FormProps & { readonly charsMax: number }) | null;
}

export interface MissingPageProps {
  readonly frame: FrameProps;
  readonly title: string;
  readonly what: string;
}
