/** The report for programs, in the words of the API (interface: times in RFC 3339, durations in `…Ms`). */
import { instantText } from '../base/instants.ts';
import type { Availability } from '../uptime/availability.ts';
import type { Budget } from '../uptime/budget.ts';
import type { GroupAvailability } from '../uptime/groups.ts';
import type { OutageLength } from '../uptime/outages.ts';
import type { Edge } from '../uptime/timeline.ts';
import type { MonthReport, ReportedOutage, ReportedService } from './month.ts';

export function reportJson(report: MonthReport): string {
  return `${JSON.stringify(bodyOf(report), null, 2)}\n`;
}

/** What is known of the availability over one window; the API answers the same. */
export function availabilityJson(found: Availability) {
  const { estimate, low, high, upMs, downMs, degradedMs, unobservedMs, plannedMs } = found;
  const { mttrMs, mtbfMs, mtbfBounds, mdtMs, detectionDelayMs, outages, unconfirmed } = found;
  return {
    from: instantText(found.from),
    to: instantText(found.to),
    ...{ estimate, low, high, upMs, downMs, degradedMs, unobservedMs, plannedMs },
    externallyDisabledMs: found.externallyDisabledMs,
    ...{ outages, unconfirmed, mttrMs, mtbfMs },
    mtbfLowMs: mtbfBounds && Math.round(mtbfBounds.lowMs),
    mtbfHighMs: mtbfBounds && roundedOrNull(mtbfBounds.highMs),
    ...{ mutMs: found.mutMs, mdtMs, detectionDelayMs },
    longest: found.longest && lengthJson(found.longest),
    shortest: found.shortest && lengthJson(found.shortest),
  };
}

export function budgetJson(budget: Budget) {
  const { objective, allowedMs, usedMs, leftMs, leftLowMs, leftHighMs, burnRate } = budget;
  return { objective, allowedMs, usedMs, leftMs, leftLowMs, leftHighMs, burnRate };
}

/** A group, or all services, over one window. */
export function groupJson(figures: GroupAvailability) {
  const { estimate, low, high, mean, upMs, downMs, unobservedMs, plannedMs, unseen } = figures;
  return {
    ...{ estimate, low, high, mean, upMs, downMs, unobservedMs, plannedMs },
    unseen: [...unseen],
  };
}

function bodyOf(report: MonthReport) {
  const { title, month, zone, from, to, until, over, services, groups, totals, jobs } = report;
  const { servicesCount, jobsCount, outages, downMs, unobservedMs, together } = totals;
  return {
    ...{ title, month, timezone: zone, from: instantText(from), to: instantText(to) },
    ...{ until: instantText(until), over },
    services: services.map(serviceJson),
    groups: groups.map(({ name, members, figures }) => ({ name, members, ...groupJson(figures) })),
    jobs: jobs.map(({ jobId, name, runsCount, failedCount, overdueCount, hangingCount }) => ({
      ...{ id: jobId, name, runs: runsCount },
      ...{ failed: failedCount, overdue: overdueCount, hanging: hangingCount },
    })),
    totals: {
      ...{ services: servicesCount, jobs: jobsCount, outages, downMs, unobservedMs },
      together: groupJson(together),
    },
  };
}

function serviceJson(service: ReportedService) {
  const { id, name, group, figures, outages, budget, burning, surelySeenMs } = service;
  return {
    ...{ id, name, group },
    availability: availabilityJson(figures),
    surelySeenMs,
    budget: budget && budgetJson(budget),
    burning,
    outages: outages.map(outageJson),
  };
}

function outageJson(outage: ReportedOutage) {
  const { begins, ends, lengthMs, lowMs, highMs, layer, reason, detail, causeId } = outage;
  return {
    id: outage.outageId,
    began: edgeJson(begins),
    ended: ends && edgeJson(ends),
    ...{ lengthMs, lowMs, highMs, layer, reason, detail, cause: causeId },
  };
}

function lengthJson({ outageId, lengthMs, lowMs, highMs, open }: OutageLength) {
  return { outage: outageId, lengthMs, lowMs, highMs, open };
}

/** It happened after `earliest` and not later than `latest`. */
function edgeJson({ earliest, middle, latest }: Edge) {
  return {
    earliest: instantText(earliest),
    estimate: instantText(middle),
    latest: instantText(latest),
  };
}

function roundedOrNull(value: number | null): number | null {
  return value === null ? null : Math.round(value);
}
