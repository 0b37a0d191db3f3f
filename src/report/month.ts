/** What a month, or another time on the calendar, was like: the figures of every service, of every group, and of all together. Pure. */
import { nameCharsMax } from '../base/limits.ts';
import type { Layer, Reason } from '../base/reasons.ts';
import { cleanText } from '../base/text.ts';
import type { ServiceCard } from '../base/values.ts';
import { type Availability, availabilityOf } from '../uptime/availability.ts';
import {
  type Budget,
  type BurnWindow,
  budgetOf,
  burningOf,
  burnRate,
  burnWindows,
} from '../uptime/budget.ts';
import { monthIn } from '../uptime/calendar.ts';
import { evidenceOf, type History } from '../uptime/evidence.ts';
import { type GroupAvailability, groupAvailabilityOf } from '../uptime/groups.ts';
import type { Interval } from '../uptime/intervals.ts';
import { type Asking, surelySeenMs } from '../uptime/missed.ts';
import { coursesOf, type OutageCourse, type OutageLength } from '../uptime/outages.ts';
import type { Edge } from '../uptime/timeline.ts';
import type { JobSum } from './jobs.ts';

/** What burns at present is looked for so far before now, which may lie before the month. */
export const burnMsMax = Math.max(...burnWindows.map(({ longMs }) => longMs));

export interface PeriodGiven {
  /** Of the board. */
  readonly title: string;
  /** IANA name of the zone on whose calendar the period is. */
  readonly zone: string;
  readonly now: number;
  /** In the order of the roll. */
  readonly services: readonly GivenService[];
}

export interface GivenService {
  readonly card: ServiceCard;
  readonly asking: Asking;
  /** Of the period and, where it is not over, of `burnMsMax` before now. */
  readonly history: History;
}

export interface MonthGiven extends PeriodGiven {
  readonly jobs: readonly JobSum[];
  /** `2026-11` */
  readonly month: string;
}

export interface MonthReport extends PeriodReport {
  readonly month: string;
  /** In the order of the roll. */
  readonly jobs: readonly JobSum[];
}

/** A month, or any other time on the calendar. */
export interface PeriodReport {
  readonly title: string;
  readonly zone: string;
  /** The whole period. */
  readonly from: number;
  readonly to: number;
  /** The figures end here: with the period, or now. */
  readonly until: number;
  readonly over: boolean;
  readonly services: readonly ReportedService[];
  /** In the order in which the roll names them; services without a group are in none. */
  readonly groups: readonly ReportedGroup[];
  readonly totals: Totals;
}

export interface ReportedService {
  readonly id: string;
  readonly name: string;
  readonly group: string | null;
  readonly figures: Availability;
  /** That touch the period, in order of time. */
  readonly outages: readonly ReportedOutage[];
  /** Of the whole period; null without an objective, and where nothing was observed or is to come. */
  readonly budget: Budget | null;
  /** The gravest rate at which the budget burns now; null where none is reached, or the period is over. */
  readonly burning: BurnWindow | null;
  /** Shorter outages could have been missed, as it is asked at present. */
  readonly surelySeenMs: number;
}

export interface ReportedOutage extends OutageLength {
  readonly begins: Edge;
  /** Null: it lasts, or nobody saw it end. */
  readonly ends: Edge | null;
  readonly layer: Layer;
  readonly reason: Reason;
  readonly detail: string;
  /** Id of the needed service whose outage explains it. */
  readonly causeId: string | null;
}

export interface ReportedGroup {
  readonly name: string;
  /** Ids. */
  readonly members: readonly string[];
  readonly figures: GroupAvailability;
}

export interface Totals {
  readonly servicesCount: number;
  readonly jobsCount: number;
  /** Sums over both. */
  readonly outages: number;
  readonly downMs: number;
  readonly unobservedMs: number;
  /** All services taken for one group. */
  readonly together: GroupAvailability;
}

export function monthReport(given: MonthGiven): MonthReport {
  const { month, zone, jobs } = given;
  return { month, jobs, ...periodReport(given, monthIn(month, zone)) };
}

export function periodReport(given: PeriodGiven, whole: Interval): PeriodReport {
  const { title, zone, now } = given;
  const until = Math.max(whole.from, Math.min(whole.to, now));
  const services = given.services.map((service) => reported(service, whole, now));
  const jobsCount = given.services.filter(({ card }) => card.kind === 'job').length;
  const sum = (pick: (figures: Availability) => number) =>
    services.reduce((total, { figures }) => total + pick(figures), 0);
  return {
    title: cleanText(title, nameCharsMax),
    zone,
    ...whole,
    until,
    over: now >= whole.to,
    services,
    groups: groupsOf(given, whole),
    totals: {
      servicesCount: services.length - jobsCount,
      jobsCount,
      outages: sum(({ outages }) => outages),
      downMs: sum(({ downMs }) => downMs),
      unobservedMs: sum(({ unobservedMs }) => unobservedMs),
      together: together(given.services, whole, now),
    },
  };
}

function reported(
  { card, asking, history }: GivenService,
  whole: Interval,
  now: number,
): ReportedService {
  const { id, name, group, objective } = card;
  const asked = { ...history, window: whole, now };
  const figures = availabilityOf(asked);
  return {
    id,
    name: cleanText(name, nameCharsMax),
    group: group === null ? null : cleanText(group, nameCharsMax),
    figures,
    outages: coursesOf(evidenceOf(asked)).map(outageOf),
    budget: objective === null ? null : budgetOf(figures, objective, whole.to - figures.to),
    burning: objective === null || now >= whole.to ? null : burningNow(asked, objective),
    surelySeenMs: surelySeenMs(asking),
  };
}

function burningNow(history: History, objective: number): BurnWindow | null {
  const { now } = history;
  return burningOf((windowMs) =>
    burnRate(availabilityOf({ ...history, window: { from: now - windowMs, to: now } }), objective),
  );
}

function outageOf({ outage, begins, ends, ...course }: OutageCourse): ReportedOutage {
  const { outageId, lengthMs, lowMs, highMs, open } = course;
  const { layer, reason, detail } = outage.trouble;
  return {
    ...{ outageId, lengthMs, lowMs, highMs, open },
    begins,
    ends: open ? null : ends,
    ...{ layer, reason, detail: cleanText(detail, detail.length) },
    causeId: outage.causeId,
  };
}

function groupsOf({ services, now }: PeriodGiven, whole: Interval): readonly ReportedGroup[] {
  const names = new Set(services.flatMap(({ card }) => card.group ?? []));
  return [...names].map((name) => {
    const members = services.filter(({ card }) => card.group === name);
    return {
      name: cleanText(name, nameCharsMax),
      members: members.map(({ card }) => card.id),
      figures: together(members, whole, now),
    };
  });
}

function together(
  services: readonly GivenService[],
  window: Interval,
  now: number,
): GroupAvailability {
  const members = services.map(({ card, history }) => ({ serviceId: card.id, history }));
  return groupAvailabilityOf(members, { window, now });
}
