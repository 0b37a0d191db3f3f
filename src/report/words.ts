/** The report's figures in words, for text and page alike. */
import { sayDuration } from '../base/durations.ts';
import { counted, sayWatched } from '../base/words.ts';
import type { Availability } from '../uptime/availability.ts';
import type { Budget, BurnWindow } from '../uptime/budget.ts';
import { localMinute } from '../uptime/calendar.ts';
import type { GroupAvailability } from '../uptime/groups.ts';
import { mtbfConfidence } from '../uptime/mtbf-bounds.ts';
import type { OutageLength } from '../uptime/outages.ts';
import { sayShare } from '../uptime/say.ts';
import type { MonthReport, ReportedOutage, ReportedService } from './month.ts';

export const months = [
  'January',
  'February',
  'March',
  'April',
  'May',
  'June',
  'July',
  'August',
  'September',
  'October',
  'November',
  'December',
] as const;

/** `Two outages; noticed after 20 s.` of what is said apart. */
export function sentenceOf(remarks: readonly string[]): string {
  const text = remarks.join('; ');
  return `${text.slice(0, 1).toUpperCase()}${text.slice(1)}.`;
}

/** A number and its unit stay on one line, held together by a space of their own. */
export function unbroken(text: string): string {
  return text.replace(/(\d) (?=\p{L}|%)/gu, '$1\u00a0');
}

/** `2026-11` → `November 2026`. */
export function sayMonth(month: string): string {
  const [year, nth] = month.split('-').map(Number);
  return `${months[(nth ?? 1) - 1] ?? ''} ${year}`;
}

/** Which time this is about, and of which clock. */
export function sayPeriod({ until, over, zone }: MonthReport): string {
  const clock = `Times are those of ${zone}.`;
  if (over) return clock;
  return `The month is not over: the figures are those up to ${localMinute(until, zone)}. ${clock}`;
}

/** All services in one sentence. */
export function sayTotals({ totals }: Pick<MonthReport, 'totals'>): string {
  if (totals.servicesCount + totals.jobsCount === 0) return 'No service is on the roll.';
  return `${sayTogether(totals)}; ${sayOutages(totals)}.`;
}

/** `All 4 services and 2 jobs were up 99.95 % of the time`, without its full stop. */
export function sayTogether({ servicesCount, jobsCount, together }: MonthReport['totals']): string {
  if (together.estimate === null) return 'Never were all services observed at one time';
  const share = `${sayShare(together.estimate)} of the time`;
  return `${sayAll(servicesCount, jobsCount)} up ${share}${aside(sayBounds(together))}`;
}

function sayAll(servicesCount: number, jobsCount: number): string {
  const parts = sayWatched(servicesCount, jobsCount);
  return servicesCount + jobsCount === 1 ? `The ${parts} was` : `All ${parts} were`;
}

/** `no outage`, `3 outages, 2 h 10 min in all`. */
export function sayOutages({ outages, downMs }: MonthReport['totals']): string {
  return outages === 0
    ? 'no outage'
    : `${counted(outages, 'outage')}, ${sayDuration(downMs)} in all`;
}

/** `99.95 %`; what is said where nothing was required. */
export function sayEstimate({ estimate }: Pick<Availability, 'estimate'>): string {
  return estimate === null ? 'not observed' : sayShare(estimate);
}

/** `99.93 to 99.97 %`; null where the bounds read like the estimate. */
export function sayBounds(shares: Pick<Availability, 'low' | 'high'>): string | null {
  const { low, high } = shares;
  if (low === null || high === null) return null;
  const [lowText, highText] = [sayShare(low), sayShare(high)];
  return lowText === highText ? null : `${lowText.replace(/ %$/, '')} to ${highText}`;
}

/** Estimate and bounds: `99.95 % (99.93 to 99.97 %)`. */
export function sayShares(figures: Pick<Availability, 'estimate' | 'low' | 'high'>): string {
  return `${sayEstimate(figures)}${aside(sayBounds(figures))}`;
}

/** `28 min (27 min to 29 min)`. */
export function sayLength({ lengthMs, lowMs, highMs, open }: OutageLength): string {
  const [length, low, high] = [lengthMs, lowMs, highMs].map(sayDuration);
  const bounds = low === high ? null : `${low} to ${high}`;
  return `${length}${open ? ' so far' : ''}${aside(bounds)}`;
}

/** The given name; the id of a service that is no longer on the roll. */
export function namesOf({ services }: MonthReport): (serviceId: string) => string {
  const names = new Map(services.map(({ id, name }) => [id, name]));
  return (serviceId) => names.get(serviceId) ?? serviceId;
}

/** What is worth a line about one service, beside its availability. */
export function remarksOf(service: ReportedService): readonly string[] {
  const { figures, budget, burning } = service;
  return [
    ...failureRemarks(figures),
    ...(budget === null ? [] : [sayBudget(budget)]),
    ...(burning === null ? [] : [sayBurning(burning)]),
    ...unseenRemarks(service),
  ];
}

/** The figures that stand in columns; empty where there is nothing to say. */
export function cellsOf({ figures, budget }: ReportedService) {
  const { outages, downMs, mttrMs, longest, unobservedMs } = figures;
  return {
    outages: String(outages),
    down: downMs === 0 ? '' : sayDuration(downMs),
    restored: mttrMs === null ? '' : sayDuration(mttrMs),
    longest: longest === null ? '' : sayDuration(longest.lengthMs),
    left: budget === null ? '' : sayLeft(budget),
    unobserved: unobservedMs === 0 ? '' : sayDuration(unobservedMs),
  };
}

/** What is worth saying beside the columns. */
export function asidesOf(service: ReportedService): readonly string[] {
  const { figures, budget, burning } = service;
  return [
    ...sayBehind(figures),
    ...sayNoticed(figures),
    ...sayBetween(figures),
    ...(budget === null ? [] : [sayBudget(budget)]),
    ...(burning === null ? [] : [sayBurning(burning)]),
    ...sayMissable(service),
  ];
}

/** What of a group is not in its figures. */
export function groupRemarks(
  figures: GroupAvailability,
  nameOf: (serviceId: string) => string,
): readonly string[] {
  const { unseen, mean } = figures;
  return [
    'all of it was up for so much of the time',
    ...(mean === null ? [] : [`mean of its services ${sayShare(mean)}`]),
    ...(unseen.length === 0 ? [] : [`without ${unseen.map(nameOf).join(', ')}: never observed`]),
  ];
}

/** Layer and what was seen. */
export function sayTrouble({ layer, detail }: ReportedOutage): string {
  return `${layer}: ${detail}`;
}

function failureRemarks(figures: Availability): string[] {
  const { outages, downMs, mttrMs, longest, shortest } = figures;
  if (outages === 0 && downMs === 0) return ['no outage', ...sayBetween(figures)];
  const only = longest?.outageId === shortest?.outageId || shortest === null;
  return [
    `${outages === 0 ? 'no outage began' : counted(outages, 'outage')}, down for ${sayDuration(downMs)}`,
    ...sayBehind(figures),
    ...(mttrMs === null ? [] : [`mean time to restoration ${sayDuration(mttrMs)}`]),
    ...sayNoticed(figures),
    ...(longest === null ? [] : [`longest ${sayLength(longest)}`]),
    ...(only ? [] : [`shortest ${sayLength(shortest)}`]),
    ...sayBetween(figures),
  ];
}

function sayBehind({ externallyDisabledMs }: Availability): string[] {
  if (externallyDisabledMs === 0) return [];
  return [`${sayDuration(externallyDisabledMs)} of its down time behind another service`];
}

function sayNoticed({ detectionDelayMs }: Availability): string[] {
  return detectionDelayMs === null ? [] : [`noticed after ${sayDuration(detectionDelayMs)}`];
}

/** Failures up to which the bounds are worth a line: beyond that the mean speaks for itself. */
const fewFailuresCountMax = 10;

function sayBetween({ outages, mtbfMs, mtbfBounds }: Availability): string[] {
  if (mtbfBounds === null) return [];
  const { lowMs, highMs } = mtbfBounds;
  const sure = `${mtbfConfidence * 100} % confidence`;
  if (mtbfMs === null || highMs === null) {
    const sureOfOne = `${50 + mtbfConfidence * 50} % confidence`;
    return [`mean time between failures probably above ${sayDuration(lowMs)} (${sureOfOne})`];
  }
  const bounds =
    outages > fewFailuresCountMax
      ? ''
      : ` (probably ${sayDuration(lowMs)} to ${sayDuration(highMs)}, ${sure})`;
  return [`mean time between failures ${sayDuration(mtbfMs)}${bounds}`];
}

function sayLeft({ leftMs }: Budget): string {
  return leftMs < 0 ? `−${sayDuration(-leftMs)}` : sayDuration(leftMs);
}

export function sayBudget({
  objective,
  allowedMs,
  leftMs,
  burnRate,
}: Omit<Budget, 'leftLowMs' | 'leftHighMs' | 'usedMs'>): string {
  const goal = `objective ${sayShare(objective)}`;
  const rate =
    burnRate === null || burnRate === 0 ? '' : `, used at ${sayRate(burnRate)} times the even rate`;
  const allowed = sayDuration(allowedMs);
  return leftMs < 0
    ? `${goal} missed: ${sayDuration(-leftMs)} more than the ${allowed} allowed${rate}`
    : `${goal}: ${sayDuration(leftMs)} left of ${allowed}${rate}`;
}

function sayBurning({ longMs, rate }: BurnWindow): string {
  return `the budget burns: over the last ${sayDuration(longMs)} at ${sayRate(rate)} times the even rate or more`;
}

function sayRate(rate: number): string {
  return rate >= 10 ? String(Math.round(rate)) : rate.toFixed(1);
}

function unseenRemarks(service: ReportedService): string[] {
  const { unobservedMs, plannedMs } = service.figures;
  return [
    ...(unobservedMs === 0 ? [] : [`not observed for ${sayDuration(unobservedMs)}`]),
    ...(plannedMs === 0 ? [] : [`planned work for ${sayDuration(plannedMs)}`]),
    ...sayMissable(service),
  ];
}

function sayMissable({ figures, surelySeenMs }: ReportedService): string[] {
  const { unconfirmed } = figures;
  const missed = `outages shorter than ${atLeast(surelySeenMs)} could have been missed`;
  if (unconfirmed === 0) return [missed];
  return [missed, `${counted(unconfirmed, 'unconfirmed failure')} may have been such`];
}

/** Rounded up, as less would promise too much. */
function atLeast(durationMs: number): string {
  const seconds = Math.ceil(durationMs / 1_000);
  return seconds < 180 ? `${seconds} s` : sayDuration(Math.ceil(seconds / 60) * 60_000);
}

function aside(text: string | null): string {
  return text === null ? '' : ` (${text})`;
}
