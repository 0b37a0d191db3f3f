/**
 * The report as one page for print and for keeping: complete in itself, without script and without anything to load.
 * The renderer escapes every text. The style stands in the page, which is written to a file: no policy forbids it there.
 */

import { type ComponentChildren, h, type VNode } from 'preact';
import { renderToString } from 'preact-render-to-string';
import { instantText } from '../base/instants.ts';
import { localMinute } from '../uptime/calendar.ts';
import { sayJobs } from './jobs.ts';
import type { MonthReport, ReportedGroup, ReportedOutage, ReportedService } from './month.ts';
import {
  asidesOf,
  cellsOf,
  groupRemarks,
  namesOf,
  sayBounds,
  sayEstimate,
  sayLength,
  sayMonth,
  sayPeriod,
  sayTotals,
  sayTrouble,
  sentenceOf,
  unbroken,
} from './words.ts';

/** Black on white, as paper is; lines where a reader's eye needs them. */
const style = `
  body { max-width: 58rem; margin: 2rem auto; padding: 0 1rem; font: 1rem/1.4 Georgia, serif; color: #111; background: #fff }
  h1 { font-size: 1.6rem; line-height: 1.2; margin: 0 0 .5rem }
  h2 { font-size: 1.1rem; margin: 2rem 0 .25rem }
  table { width: 100%; border-collapse: collapse; margin: .5rem 0 }
  th, td { text-align: left; vertical-align: top; padding: .25rem .75rem .25rem 0; border-top: 1px solid #bbb; font-variant-numeric: tabular-nums }
  thead th { border-top: 0; vertical-align: bottom; font-size: .875rem; font-weight: normal }
  .group th, .group td { border-top: 2px solid #111; padding-top: .75rem }
  .aside td { border-top: 0; font-size: .875rem }
  small { display: block; font-size: .875rem; font-weight: normal }
  time { white-space: nowrap }
  tbody { break-inside: avoid }
  @page { margin: 16mm }
`;

const columns = [
  'Service',
  'Availability',
  'Outages',
  'Down for',
  'Mean time to restoration',
  'Longest outage',
  'Budget left',
  'Not observed',
];

export function reportHtml(report: MonthReport): string {
  const heading = `${report.title}, ${sayMonth(report.month)}`;
  const page = h(
    'html',
    { lang: 'en' },
    h(
      'head',
      null,
      h('meta', { charset: 'utf-8' }),
      h('meta', { name: 'viewport', content: 'width=device-width, initial-scale=1' }),
      h('title', null, heading),
      h('style', { dangerouslySetInnerHTML: { __html: style } }),
    ),
    h(
      'body',
      null,
      h('h1', null, heading),
      h('p', null, unbroken(sayTotals(report))),
      report.jobs.length > 0 && h('p', null, unbroken(sayJobs(report.jobs))),
      h('p', null, sayPeriod(report)),
      h('table', null, header(columns), serviceBodies(report)),
      outageTable(report),
    ),
  );
  return `<!doctype html>${renderToString(page)}\n`;
}

/** Services without a group first, then each group with its own, all in the same columns. */
function serviceBodies(report: MonthReport): ComponentChildren {
  const { services, groups } = report;
  return [
    services.filter(({ group }) => group === null).map(serviceBody),
    groups.map((group) => [
      groupBody(group, namesOf(report)),
      services.filter(({ id }) => group.members.includes(id)).map(serviceBody),
    ]),
  ];
}

function serviceBody(service: ReportedService): ComponentChildren {
  const { outages, down, restored, longest, left, unobserved } = cellsOf(service);
  const { figures, name } = service;
  return h(
    'tbody',
    null,
    h(
      'tr',
      null,
      h('th', { scope: 'row' }, name),
      h('td', null, unbroken(sayEstimate(figures)), small(sayBounds(figures))),
      [outages, down, restored, longest, left, unobserved].map((cell) =>
        h('td', null, unbroken(cell)),
      ),
    ),
    h(
      'tr',
      { class: 'aside' },
      h('td', { colSpan: columns.length }, unbroken(sentenceOf(asidesOf(service)))),
    ),
  );
}

function groupBody(
  { name, figures }: ReportedGroup,
  nameOf: (serviceId: string) => string,
): ComponentChildren {
  return h(
    'tbody',
    { class: 'group' },
    h(
      'tr',
      null,
      h('th', { scope: 'row' }, name),
      h('td', null, unbroken(sayEstimate(figures)), small(sayBounds(figures))),
      h('td', { colSpan: columns.length - 2 }, unbroken(sentenceOf(groupRemarks(figures, nameOf)))),
    ),
  );
}

function outageTable(report: MonthReport): ComponentChildren {
  const { services, zone } = report;
  const all = services
    .flatMap(({ name, outages }) => outages.map((outage) => ({ name, outage })))
    .sort((one, other) => one.outage.begins.middle - other.outage.begins.middle);
  return [
    h('h2', null, 'Outages'),
    all.length === 0
      ? h('p', null, 'None.')
      : h(
          'table',
          null,
          header(['Began', 'Service', 'Lasted', 'What was wrong']),
          h(
            'tbody',
            null,
            all.map(({ name, outage }) =>
              h(
                'tr',
                null,
                h('td', null, when(outage.begins.middle, zone)),
                h('th', { scope: 'row' }, name),
                h('td', null, unbroken(sayLength(outage))),
                h('td', null, behind(outage, namesOf(report)), sayTrouble(outage)),
              ),
            ),
          ),
        ),
  ];
}

function header(words: readonly string[]): VNode {
  return h(
    'thead',
    null,
    h(
      'tr',
      null,
      words.map((word) => h('th', { scope: 'col' }, word)),
    ),
  );
}

function when(at: number, zone: string): ComponentChildren {
  return h('time', { dateTime: instantText(at) }, localMinute(at, zone));
}

function behind({ causeId }: ReportedOutage, nameOf: (id: string) => string): string {
  return causeId === null ? '' : `Behind ${nameOf(causeId)}. `;
}

function small(text: string | null): ComponentChildren {
  return text === null ? null : h('small', null, unbroken(text));
}
