/**
 * The digest of a week or a month: what was down and why, which jobs did not go well, how long it took to restore, what is left of the budgets, which
 * certificates end next. Figures in, data of an event out; its words stand in `digest-text.ts`. Pure.
 */
import { instantText } from '../base/instants.ts';
import { certificatesAheadMs, digestEntriesCountMax } from '../base/limits.ts';
import { availabilityOf } from '../uptime/availability.ts';
import { type Budget, budgetOf } from '../uptime/budget.ts';
import { budgetPeriodMs } from '../uptime/burning.ts';
import type { Interval } from '../uptime/intervals.ts';
import { digestText } from './digest-text.ts';
import type { JobSum } from './jobs.ts';
import {
  type PeriodGiven,
  type PeriodReport,
  periodReport,
  type ReportedOutage,
  type ReportedService,
} from './month.ts';

export interface DigestGiven extends PeriodGiven {
  readonly period: 'week' | 'month';
  readonly whole: Interval;
  /** As the services showed them last, in any order. */
  readonly certificates: readonly EndingCertificate[];
  /** Those that did not go well. */
  readonly jobs: readonly JobSum[];
}

export interface EndingCertificate {
  readonly serviceId: string;
  readonly name: string;
  readonly endsAt: number;
}

/** What the words are made of. */
export interface DigestFigures {
  readonly period: 'week' | 'month';
  readonly report: PeriodReport;
  /** Those that nothing else in the digest explains, in order of time. */
  readonly causes: readonly DigestOutage[];
  readonly budgets: readonly DigestBudget[];
  /** Of those that end soon, the next ones first. */
  readonly certificates: readonly EndingCertificate[];
  readonly jobs: readonly JobSum[];
  readonly now: number;
}

export interface DigestOutage {
  readonly service: ReportedService;
  readonly outage: ReportedOutage;
  /** Names of those that were down behind it. */
  readonly behind: readonly string[];
}

export interface DigestBudget {
  readonly service: ReportedService;
  /** Of thirty days up to the end of the period. */
  readonly budget: Budget;
}

/** JSON-safe; instants are RFC 3339, lists are bounded. */
export function digestOf(given: DigestGiven) {
  const figures = figuresOf(given);
  const { report, budgets, certificates, jobs } = figures;
  const { summary, text } = digestText(figures);
  const down = report.services.filter(isDown);
  const outages = down
    .flatMap((service) => service.outages.map((outage) => ({ service, outage })))
    .sort((one, other) => one.outage.begins.middle - other.outage.begins.middle);
  return {
    summary,
    period: given.period,
    from: instantText(report.from),
    to: instantText(report.to),
    text,
    servicesCount: report.totals.servicesCount,
    jobsCount: report.totals.jobsCount,
    outagesCount: report.totals.outages,
    downMs: report.totals.downMs,
    estimate: report.totals.together.estimate,
    services: down.slice(0, digestEntriesCountMax).map(serviceBody),
    outages: outages.slice(0, digestEntriesCountMax).map(outageBody),
    jobs: jobs.slice(0, digestEntriesCountMax).map((one) => ({
      job: one.jobId,
      name: one.name,
      failed: one.failedCount,
      overdue: one.overdueCount,
      hanging: one.hangingCount,
    })),
    budgets: budgets.slice(0, digestEntriesCountMax).map(({ service, budget }) => ({
      service: service.id,
      name: service.name,
      objective: budget.objective,
      allowedMs: budget.allowedMs,
      usedMs: budget.usedMs,
      leftMs: budget.leftMs,
    })),
    certificates: certificates.slice(0, digestEntriesCountMax).map((one) => ({
      service: one.serviceId,
      name: one.name,
      endsAt: instantText(one.endsAt),
    })),
  };
}

function figuresOf(given: DigestGiven): DigestFigures {
  const { period, whole, jobs, now } = given;
  const report = periodReport(given, whole);
  return {
    period,
    report,
    causes: causesOf(report),
    budgets: budgetsOf(given, report),
    certificates: given.certificates
      .filter(({ endsAt }) => endsAt > now && endsAt <= now + certificatesAheadMs)
      .sort((one, other) => one.endsAt - other.endsAt),
    jobs,
    now,
  };
}

function isDown({ figures, outages }: ReportedService): boolean {
  return figures.downMs > 0 || outages.length > 0;
}

/** What was down behind another outage is said with that one, where it is in the digest. */
function causesOf({ services }: PeriodReport): readonly DigestOutage[] {
  const all = services.flatMap((service) => service.outages.map((outage) => ({ service, outage })));
  const causeOf = ({ outage }: (typeof all)[number]) =>
    all.find((one) => one.service.id === outage.causeId && overlap(one.outage, outage));
  return all
    .filter((one) => causeOf(one) === undefined)
    .map((cause) => {
      const behind = all.filter((one) => causeOf(one) === cause).map(({ service }) => service.name);
      return { ...cause, behind: [...new Set(behind)] };
    })
    .sort((one, other) => one.outage.begins.middle - other.outage.begins.middle);
}

/** Also where they only meet: what failed because of it failed a moment after it. */
function overlap(one: ReportedOutage, other: ReportedOutage): boolean {
  const endOf = ({ ends }: ReportedOutage) => ends?.latest ?? Number.POSITIVE_INFINITY;
  return one.begins.earliest <= endOf(other) && other.begins.earliest <= endOf(one);
}

function budgetsOf(
  { services, whole }: DigestGiven,
  report: PeriodReport,
): readonly DigestBudget[] {
  return services.flatMap(({ card, history }, nth) => {
    const service = report.services[nth];
    if (card.objective === null || service === undefined) return [];
    const window = { from: whole.to - budgetPeriodMs, to: whole.to };
    const budget = budgetOf(availabilityOf({ ...history, window }), card.objective);
    return budget === null ? [] : [{ service, budget }];
  });
}

function serviceBody({ id, name, figures }: ReportedService) {
  const { estimate, outages, downMs, mttrMs } = figures;
  return { id, name, estimate, outages, downMs, mttrMs };
}

function outageBody({ service, outage }: Omit<DigestOutage, 'behind'>) {
  const { outageId, begins, ends, lengthMs, layer, reason, detail, causeId } = outage;
  return {
    id: outageId,
    service: service.id,
    name: service.name,
    beganAt: instantText(begins.middle),
    endedAt: ends === null ? null : instantText(ends.middle),
    downMs: lengthMs,
    ...{ layer, reason, detail, cause: causeId },
  };
}
