/** A month's report as a page. */

import type {
  ReportedGroupProps,
  ReportedOutageProps,
  ReportedServiceProps,
  ReportPageProps,
} from '../../web/props-report.ts';
import { nameCharsMax, outagesOnReportCountMax } from '../base/limits.ts';
import { cleanText } from '../base/text.ts';
import { sayJobs } from '../report/jobs.ts';
import type { MonthReport, ReportedService } from '../report/month.ts';
import {
  cellsOf,
  groupRemarks,
  namesOf,
  sayBounds,
  sayEstimate,
  sayLength,
  sayMonth,
  sayPeriod,
  sayTotals,
  sentenceOf,
  unbroken,
} from '../report/words.ts';
import type { Board } from './board.ts';
import { namedService, outagePage, reportFile, reportPage, servicePage } from './links.ts';
import { layerWord, sentence } from './trouble-props.ts';
import { sayCount } from './zone.ts';

export function reportProps(board: Board, report: MonthReport): Omit<ReportPageProps, 'frame'> {
  const { month, over, services } = report;
  const now = board.clock.wallMs();
  const isObserved = services.some(({ figures }) => figures.estimate !== null);
  const outages = outagesOf(board, report, now);
  const more = outages.length - outagesOnReportCountMax;
  return {
    now: board.zone.whole(now),
    month: sayMonth(month),
    totals: unbroken([sayTotals(report), sayJobs(report.jobs)].join(' ').trim()),
    period: sayPeriod(report),
    // Before a month in which nothing was observed there is none that is worth a look.
    earlier: isObserved ? monthLink(board, month, -1) : null,
    later: over ? monthLink(board, month, 1) : null,
    files: (['csv', 'json'] as const).map((format) => ({
      name: `As ${format.toUpperCase()}`,
      href: reportFile(board, month, format),
    })),
    groups: groupsOf(board, report),
    outages: outages.slice(0, outagesOnReportCountMax),
    moreOutages: more > 0 ? `${sayCount(more, 'outage')} more are in the files.` : null,
  };
}

/** `2026-11`, -1 → `2026-10`. */
function monthLink(board: Board, month: string, by: number) {
  const [year = 0, nth = 1] = month.split('-').map(Number);
  const count = year * 12 + nth - 1 + by;
  const other = `${String(Math.floor(count / 12)).padStart(4, '0')}-${String((count % 12) + 1).padStart(2, '0')}`;
  return { name: sayMonth(other), href: reportPage(board, other) };
}

/** Those without a group first, as on the roll. */
function groupsOf(board: Board, report: MonthReport): ReportedGroupProps[] {
  const { services, groups } = report;
  const loose = services.filter(({ group }) => group === null);
  return [
    ...(loose.length === 0
      ? []
      : [
          {
            name: null,
            share: null,
            how: null,
            services: loose.map((service) => serviceOf(board, service)),
          },
        ]),
    ...groups.map(({ name, members, figures }) => ({
      name: cleanText(name, nameCharsMax) || '—',
      share: members.length < 2 ? null : unbroken(sayEstimate(figures)),
      how: unbroken(sentenceOf(groupRemarks(figures, namesOf(report)))),
      services: services
        .filter(({ id }) => members.includes(id))
        .map((service) => serviceOf(board, service)),
    })),
  ];
}

function serviceOf(board: Board, service: ReportedService): ReportedServiceProps {
  const bounds = sayBounds(service.figures);
  return {
    name: cleanText(service.name, nameCharsMax),
    href: servicePage(board, service.id),
    share: unbroken(sayEstimate(service.figures)),
    bounds: bounds === null ? null : unbroken(bounds),
    how: unbroken(sentenceOf(briefly(service))),
  };
}

/** What one wants to know of a month; the mean times and their bounds are on its own page and in the files. */
function briefly(service: ReportedService): string[] {
  const { outages, down, restored, longest, left, unobserved } = cellsOf(service);
  const { figures } = service;
  const said = (isSo: unknown, remark: string): string[] => (isSo ? [remark] : []);
  return [
    ...said(figures.estimate !== null || unobserved === '', sayCount(figures.outages, 'outage')),
    ...said(down, `down for ${down}`),
    ...said(restored, `mean time to restoration ${restored}`),
    ...said(longest && Number(outages) > 1, `the longest ${longest}`),
    ...said(left, `${left} of its budget left`),
    ...said(unobserved, `not observed for ${unobserved}`),
  ];
}

/** In order of time. */
function outagesOf(board: Board, { services }: MonthReport, now: number): ReportedOutageProps[] {
  return services
    .flatMap(({ id, outages }) => outages.map((outage) => ({ id, outage })))
    .sort((one, other) => one.outage.begins.middle - other.outage.begins.middle)
    .map(({ id, outage }) => ({
      page: outagePage(board, outage.outageId),
      began: board.zone.moment(outage.begins.middle, now),
      service: namedService(board, id),
      lasted: unbroken(sayLength(outage)),
      what: `${layerWord(outage.layer)}: ${sentence(outage.detail)}`,
      cause: outage.causeId === null ? null : namedService(board, outage.causeId),
    }));
}
