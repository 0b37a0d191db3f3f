/**
 * What the pages are given: finished words, numbers and addresses. `src/serve` makes them, the components lay them
 * out and know nothing else. A text here may have come from a peer: it is bounded already, and escaped by the renderer.
 */

import type { OwnerProps } from './owner-props.ts';

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
  /** The pages that every page leads to. */
  readonly ways: readonly LinkProps[];
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

/** Where a hairline crosses the paper, and what stands above it. */
export interface TickProps {
  readonly at: number;
  /** Null: a line without a word. */
  readonly label: string | null;
  /** A day, a month or a year begins here. */
  readonly begins: boolean;
}

/** A sheet of chart paper: time across, latencies upwards on powers of ten. All strips of the roll share one. */
export interface SheetProps {
  readonly from: number;
  readonly to: number;
  /** What one point of a line stands for. */
  readonly stepMs: number;
  readonly ticks: readonly TickProps[];
  /** Latencies a decade apart; the first and the last bound the sheet. */
  readonly decades: readonly { readonly us: number; readonly label: string }[];
}

/** What one pen wrote on a sheet: latency as a line, grounds where it was not simply up. Instants and microseconds. */
export interface StripProps {
  /** The whole of it in one sentence, for those who do not see it. */
  readonly label: string;
  /** Latencies step by step; null where nothing was answered. */
  readonly points: readonly StripPoint[];
  readonly grounds: readonly StripGround[];
  /** Failures that were not confirmed. */
  readonly misses: readonly number[];
}

/** What half, nineteen of twenty, and 99 of 100 answers took at most. */
export interface StripPoint {
  readonly at: number;
  readonly typicalUs: number | null;
  readonly slowUs: number | null;
  readonly slowestUs: number | null;
}

export interface StripGround {
  readonly state: Exclude<StateWord, 'up'> | 'planned';
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
  /** What the pen reads: how long it took where it was an answer at all, else how it went. */
  readonly reading: string;
}

/** One service on the roll. */
export interface LaneProps {
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
  /** Null: the roll is so long that only what is wrong has its strip. */
  readonly strip: StripProps | null;
  readonly figures: FiguresProps;
}

export interface GroupProps {
  readonly name: string | null;
  /** `6 services, 2 down`. */
  readonly count: string;
  /** `99.62 %`: how much of the time of 30 days in which all were watched all were up; null: it says nothing. */
  readonly share: string | null;
  /** The group with its strips alone, where they do not stand here. */
  readonly page: string | null;
  /** Unfolded. */
  readonly open: boolean;
  readonly lanes: readonly LaneProps[];
}

/** The search field of a long roll. */
export interface FindProps {
  /** The roll's own address. */
  readonly action: string;
  readonly words: string;
  /** `3 of 1,000 services`; null: nothing is searched for. */
  readonly found: string | null;
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

export interface RollPageProps {
  readonly frame: FrameProps;
  readonly now: MomentProps;
  readonly sentence: string;
  /** The gravest of what is wrong. */
  readonly troubles: readonly TroubleProps[];
  /** `38 more are marked on the roll.`; null: those are all. */
  readonly moreTroubles: string | null;
  readonly alarm: AlarmProps | null;
  /** Null: the roll is short. */
  readonly find: FindProps | null;
  readonly groups: readonly GroupProps[];
  readonly sheet: SheetProps;
  /** Planned work of the next day, in a sentence, and where more is said of it; null: there is none. */
  readonly planned: { readonly sentence: string; readonly more: string } | null;
}

/** What is wrong with Rollcall itself in one sentence, and where more is said of it. */
export interface AlarmProps {
  readonly sentence: string;
  readonly more: string;
}

export interface MissingPageProps {
  readonly frame: FrameProps;
  readonly title: string;
  readonly what: string;
}

/** Rollcall about itself. */
export interface AboutPageProps {
  readonly frame: FrameProps;
  readonly now: MomentProps;
  readonly sentence: string;
  /** Sentences; empty: nothing is wrong. */
  readonly troubles: readonly string[];
  readonly deadLetters: readonly DeadLetterProps[];
  /** How the daemon is: a word, its value, what it means. */
  readonly figures: readonly FigureProps[];
  /** Who is told, in a sentence, and where more is said of it. */
  readonly channels: { readonly sentence: string; readonly more: string | null };
}

export interface DeadLetterProps {
  readonly at: MomentProps;
  readonly summary: string;
  readonly channel: string;
  readonly said: string | null;
}

/** A word, its value, and what the word means. */
export interface FigureProps {
  readonly word: string;
  readonly value: string;
  readonly aside: string | null;
  readonly meaning: string;
}
