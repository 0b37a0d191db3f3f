/** What the page of a month's report is given. */
import type { FrameProps, LinkProps, MomentProps, NamedProps } from './props.ts';

export interface ReportedServiceProps extends LinkProps {
  /** `99.95 %`, or that it was not observed. */
  readonly share: string;
  readonly bounds: string | null;
  /** A sentence: outages, mean times, budget, what was not observed. */
  readonly how: string;
}

export interface ReportedGroupProps {
  /** Null: those without a group. */
  readonly name: string | null;
  /** In which all of it were up; null where that says nothing. */
  readonly share: string | null;
  /** A sentence; null where there is none to say. */
  readonly how: string | null;
  readonly services: readonly ReportedServiceProps[];
}

export interface ReportedOutageProps {
  readonly page: string;
  readonly began: MomentProps;
  readonly service: NamedProps;
  readonly lasted: string;
  readonly what: string;
  readonly cause: NamedProps | null;
}

export interface ReportPageProps {
  readonly frame: FrameProps;
  readonly now: MomentProps;
  /** `November 2026` */
  readonly month: string;
  /** All services in one sentence, and which time that is about. */
  readonly totals: string;
  readonly period: string;
  /** The months before and after; null: there is nothing to read. */
  readonly earlier: LinkProps | null;
  readonly later: LinkProps | null;
  /** The same for programs. */
  readonly files: readonly LinkProps[];
  readonly groups: readonly ReportedGroupProps[];
  readonly outages: readonly ReportedOutageProps[];
  /** `12 more are in the files.`; null: those are all. */
  readonly moreOutages: string | null;
}
