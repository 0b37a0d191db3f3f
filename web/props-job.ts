/** What the page of one job is given. */
import type {
  FigureProps,
  FrameProps,
  LinkProps,
  MomentProps,
  StateWord,
  TroubleProps,
} from './props.ts';
import type { NeighbourProps, OutageRowProps } from './props-service.ts';

/** One run in its row. */
export interface RunRowProps {
  readonly id: string;
  readonly at: MomentProps;
  /** `ended well after 9 min 40 s`. */
  readonly what: string;
  /** `9.8 GB`; null: it told no number. */
  readonly told: string | null;
}

/** The last runs as bars, the oldest first: how long each took, and how it ended. */
export interface RunStripProps {
  /** The whole of it in one sentence, for those who do not see it. */
  readonly label: string;
  readonly bars: readonly {
    readonly id: string;
    /** Percent of the longest. */
    readonly height: number;
    readonly end: 'well' | 'failed' | 'open';
  }[];
}

export interface JobPageProps {
  readonly frame: FrameProps;
  readonly now: MomentProps;
  readonly name: string;
  readonly state: StateWord;
  readonly sentence: string;
  readonly remarks: readonly string[];
  readonly open: string | null;
  readonly group: string | null;
  /** When it is due, as it is configured, and what is allowed. */
  readonly agreed: string;
  readonly next: readonly FigureProps[];
  readonly note: readonly string[];
  readonly trouble: TroubleProps | null;
  /** What the last run wrote at its end; null: nothing that is kept. */
  readonly output: { readonly heading: string; readonly text: string } | null;
  /** Null: there are too few. */
  readonly strip: RunStripProps | null;
  readonly runs: readonly RunRowProps[];
  readonly figures: readonly FigureProps[];
  /** Empty: it has no objective. */
  readonly budget: readonly FigureProps[];
  readonly outages: readonly OutageRowProps[];
  /** Planned work on it that runs or is the next to come, a sentence each. */
  readonly planned: readonly string[];
  readonly needs: readonly NeighbourProps[];
  readonly neededBy: readonly NeighbourProps[];
  /** The same in the API. */
  readonly programs: LinkProps;
}
