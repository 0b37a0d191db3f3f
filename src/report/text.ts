/** The report for a terminal or a letter: plain lines of at most a hundred characters or so. */

import { localMinute } from '../uptime/calendar.ts';
import { sayJobs } from './jobs.ts';
import type { MonthReport, ReportedGroup, ReportedOutage, ReportedService } from './month.ts';
import {
  groupRemarks,
  namesOf,
  remarksOf,
  sayLength,
  sayMonth,
  sayPeriod,
  sayShares,
  sayTotals,
  sayTrouble,
  sentenceOf,
  unbroken,
} from './words.ts';

const lineCharsMax = 96;
const indent = '    ';

export function reportText(report: MonthReport): string {
  const { title, month, services, groups } = report;
  const heading = `${title}, ${sayMonth(month)}`;
  const nameOf = namesOf(report);
  const blocks = [
    [heading, '='.repeat(heading.length)],
    [sayTotals(report), sayJobs(report.jobs), sayPeriod(report)]
      .filter(Boolean)
      .flatMap((line) => folded(line, '')),
    ...services
      .filter(({ group }) => group === null)
      .map((service) => serviceLines(service, report)),
    ...groups.flatMap((group) => [
      groupLines(group, nameOf),
      ...services
        .filter(({ id }) => group.members.includes(id))
        .map((service) => serviceLines(service, report)),
    ]),
  ];
  return `${blocks.map((lines) => lines.join('\n')).join('\n\n')}\n`;
}

function groupLines({ name, figures }: ReportedGroup, nameOf: (id: string) => string): string[] {
  const heading = `${name}: ${sayShares(figures)}`;
  const remarks = groupRemarks(figures, nameOf);
  return [heading, '-'.repeat(heading.length), ...folded(sentenceOf(remarks), '')];
}

function serviceLines(service: ReportedService, report: MonthReport): string[] {
  const nameOf = namesOf(report);
  return [
    `${service.name}: ${sayShares(service.figures)}`,
    ...folded(sentenceOf(remarksOf(service)), indent),
    ...service.outages.flatMap((outage) => outageLines(outage, report.zone, nameOf)),
  ];
}

function outageLines(
  outage: ReportedOutage,
  zone: string,
  nameOf: (id: string) => string,
): string[] {
  const { begins, causeId } = outage;
  const behind = causeId === null ? '' : `behind ${nameOf(causeId)}; `;
  const line = `${localMinute(begins.middle, zone)}  ${sayLength(outage)}  ${behind}${sayTrouble(outage)}`;
  return folded(line, indent, indent.repeat(2));
}

/** Broken at spaces, but not between a number and its unit; a longer word stays whole. */
function folded(text: string, before: string, beforeRest: string = before): string[] {
  const words = unbroken(text).split(' ');
  const lines: string[] = [];
  let line = before;
  for (const word of words) {
    const isEmpty = line.trim() === '';
    if (!isEmpty && line.length + 1 + word.length > lineCharsMax) {
      lines.push(line);
      line = `${beforeRest}${word}`;
    } else line += isEmpty ? word : ` ${word}`;
  }
  return [...lines, line].map((one) => one.replaceAll('\u00a0', ' '));
}
