/**
 * The words of a digest: plain lines for a mail or a chat. A time in which nothing happened is two lines; else what was
 * down and why, then what is left of the budgets, then what ends next.
 */
import { sayDuration } from '../base/durations.ts';
import { digestEntriesCountMax, namesInSentenceCountMax } from '../base/limits.ts';
import { counted, listed } from '../base/words.ts';
import { monthAt } from '../uptime/calendar.ts';
import { sayDate, sayMoment } from './days.ts';
import type { DigestBudget, DigestFigures, DigestOutage } from './digest.ts';
import { type JobSum, sayPoor } from './jobs.ts';
import type { ReportedService } from './month.ts';
import { sayBudget, sayLength, sayMonth, sayOutages, sayTogether, sentenceOf } from './words.ts';

export interface DigestWords {
  /** The first line alone: subject of a mail. */
  readonly summary: string;
  /** All of it, the summary too. */
  readonly text: string;
}

export function digestText(digest: DigestFigures): DigestWords {
  const { report, causes } = digest;
  const { totals } = report;
  const summary = `${report.title}, ${sayWhen(digest)}: ${sayFailed(digest)}.`;
  if (totals.servicesCount + totals.jobsCount === 0)
    return { summary, text: `${summary}\nNo service is on the roll.` };
  const together = `${sayTogether(totals)}.${sayUnobserved(digest)}`;
  if (causes.length === 0 && totals.downMs === 0 && digest.jobs.length === 0) {
    return { summary, text: `${summary}\n${[together, ...certificateLines(digest)].join(' ')}` };
  }
  const blocks = [
    [summary, together],
    causes.length === 0
      ? []
      : ['What was down:', ...bounded(causes, (one) => outageLine(one, report), 'outage')],
    jobLines(digest.jobs),
    restoredLines(report.services),
    budgetLines(digest.budgets),
    certificateLines(digest),
  ];
  return {
    summary,
    text: blocks
      .filter((lines) => lines.length > 0)
      .map((lines) => lines.join('\n'))
      .join('\n\n'),
  };
}

/** `November 2026`, `the week from 23 November`. */
function sayWhen({ period, report: { from, zone } }: DigestFigures): string {
  if (period === 'month') return sayMonth(monthAt(from, zone));
  return `the week from ${sayDate(from, zone)}`;
}

/** Nothing where all of it was watched. Summed over the services it would be no time that anybody knows. */
function sayUnobserved({ report: { services } }: DigestFigures): string {
  const most = Math.max(...services.map(({ figures }) => figures.unobservedMs));
  return most === 0 ? '' : ` Up to ${sayDuration(most)} of it were not observed.`;
}

/** An outage that began before and went on is none of this time, but its down time is. */
function sayFailed({ report: { totals } }: DigestFigures): string {
  if (totals.outages > 0 || totals.downMs === 0) return sayOutages(totals);
  return `no new outage, ${sayDuration(totals.downMs)} of an earlier one`;
}

function outageLine(
  { service, outage, behind }: DigestOutage,
  { zone, services }: DigestFigures['report'],
): string {
  const { begins, detail, causeId } = outage;
  const why = detail.replace(/[.\s]+$/, '');
  const others = listed(behind, namesInSentenceCountMax);
  const were = behind.length === 1 ? 'was' : 'were';
  return [
    `${sayMoment(begins.middle, zone)}: ${service.name}, for ${sayLength(outage)}: ${why}`,
    ...(causeId === null
      ? []
      : [`it needs ${services.find(({ id }) => id === causeId)?.name ?? causeId}, which was down`]),
    ...(behind.length === 0 ? [] : [`${others} ${were} down with it`]),
  ].join('; ');
}

/** Of those with an outage that ended; MTTR. */
function restoredLines(services: readonly ReportedService[]): readonly string[] {
  const said = services.flatMap(({ name, figures: { mttrMs } }) =>
    mttrMs === null ? [] : [`${name} ${sayDuration(mttrMs)}`],
  );
  return said.length === 0
    ? []
    : [`Mean time to restoration: ${listed(said, digestEntriesCountMax)}.`];
}

function budgetLines(budgets: readonly DigestBudget[]): readonly string[] {
  if (budgets.length === 0) return [];
  const line = ({ service, budget }: DigestBudget) =>
    `${service.name}: ${sayBudget({ ...budget, burnRate: null })}`;
  return ['Budgets, over 30 days:', ...bounded(budgets, line, 'budget')];
}

function jobLines(jobs: readonly JobSum[]): readonly string[] {
  if (jobs.length === 0) return [];
  const line = (job: JobSum) => `${job.name}: ${sayPoor(job)}`;
  return ['Jobs that did not go well:', ...bounded(jobs, line, 'job')];
}

function certificateLines({ certificates, report: { zone } }: DigestFigures): readonly string[] {
  if (certificates.length === 0) return [];
  const said = certificates.map(({ name, endsAt }) => `${name} on ${sayDate(endsAt, zone)}`);
  return [sentenceOf([`certificates that end next: ${listed(said, namesInSentenceCountMax)}`])];
}

function bounded<Item>(
  items: readonly Item[],
  lineOf: (item: Item) => string,
  what: string,
): readonly string[] {
  const rest = items.length - digestEntriesCountMax;
  const lines = items.slice(0, digestEntriesCountMax).map((item) => `- ${lineOf(item)}`);
  return rest > 0 ? [...lines, `- and ${counted(rest, `more ${what}`)}`] : lines;
}
