/** What the page of one service is given. */
import type { FormProps } from './owner-props.ts';
import type {
  FigureProps,
  FrameProps,
  LastProps,
  LinkProps,
  MomentProps,
  NamedProps,
  SheetProps,
  StateWord,
  StripProps,
  TroubleProps,
} from './props.ts';

/** How long answers took over a range: the whole exchange, or a phase of it. */
export interface LatencyRowProps {
  readonly word: string;
  readonly meaning: string;
  readonly typical: string;
  readonly slow: string;
  readonly slowest: string;
}

/** A day, a week, a month or a year of it, drawn large. */
export interface ChartProps {
  readonly heading: string;
  /** The other lengths; `here` is the one that is shown. */
  readonly ranges: readonly (LinkProps & { readonly here: boolean })[];
  readonly sheet: SheetProps;
  readonly strip: StripProps;
  /** What a point of the line stands for: `ten minutes`. */
  readonly step: string;
  /** `2,880 answers, 12 of them with reservations; 3 failures.` */
  readonly counts: string;
  /** Empty: nothing was answered. */
  readonly latencies: readonly LatencyRowProps[];
}

export interface FactProps {
  readonly word: string;
  readonly value: string;
}

/** It told something else than before. */
export interface FactChangeProps {
  readonly at: MomentProps;
  readonly word: string;
  /** Null: it did not say. */
  readonly before: string | null;
  readonly after: string | null;
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

/** Another service, and how it stands. */
export interface NeighbourProps extends LinkProps {
  readonly state: StateWord;
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
  readonly chart: ChartProps;
  readonly last: LastProps | null;
  readonly facts: readonly FactProps[];
  readonly changes: readonly FactChangeProps[];
  readonly figures: readonly FigureProps[];
  /** Empty: it has no objective. */
  readonly budget: readonly FigureProps[];
  /** How short an outage may be and still be surely seen. */
  readonly shortest: string;
  readonly outages: readonly OutageRowProps[];
  /** Planned work on it that runs or is the next to come, a sentence each. */
  readonly planned: readonly string[];
  readonly needs: readonly NeighbourProps[];
  readonly neededBy: readonly NeighbourProps[];
  readonly through: readonly NeighbourProps[];
  /** Null: nobody is signed in who may ask. */
  readonly ask: FormProps | null;
}
