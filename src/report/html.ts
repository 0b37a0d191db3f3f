/**
 * The report as one page for print and for keeping: complete in itself, without script and without anything to load.
 * The renderer escapes every text. The style stands in the page, which is written to a file: no policy forbids it there.
 */
import { type ComponentChildren, h, type VNode } from 'preact';
import { renderToString } from 'preact-render-to-string';
import { instantText } from '../base/instants.ts';
import { localMinute } from '../uptime/calendar.ts';
import type { MonthReport, ReportedOutage, ReportedService } from './month.ts';
import {
  groupRemarks,
  namesOf,
  remarksOf,
  sayBounds,
  sayEstimate,
  sayLength,
  sayMonth,
  sayPeriod,
  sayShares,
  sayTotals,
  sayTrouble,
} from './words.ts';

/** Black on white, as paper is; lines where a reader's eye needs them. */
const style = `
  body { max-width: 52rem; margin: 2rem auto; padding: 0 1rem; font: 1rem/1.5 Georgia, serif; color: #111; background: #fff }
  h1 { font-size: 1.6rem; line-height: 1.2; margin: 0 0 .5rem }
  h2 { font-size: 1.1rem; margin: 2rem 0 .25rem }
  table { width: 100%; border-collapse: collapse; margin: .5rem 0 }
  th, td { text-align: left; vertical-align: top; padding: .25rem .75rem .25rem 0; border-top: 1px solid #999 }
  thead th { border-top: 0; font-size: .875rem; font-weight: normal }
  th[scope="row"] { font-weight: bold }
  td { font-variant-numeric: tabular-nums }
  small { display: block; font-size: .875rem }
  tr { break-inside: avoid }
  @page { margin: 18mm }
`;

export function reportHtml(report: MonthReport): string {
  const { title, month, services, groups } = report;
  const heading = `${title}, ${sayMonth(month)}`;
  const loose = services.filter(({ group }) => group === null);
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
      h('p', null, sayTotals(report)),
      h('p', null, sayPeriod(report)),
      loose.length > 0 && serviceTable(loose, groups.length > 0 ? 'Services' : null),
      groups.map(({ name, members, figures }) => [
        serviceTable(
          services.filter(({ id }) => members.includes(id)),
          `${name}: ${sayShares(figures)}`,
          `${groupRemarks(figures, namesOf(report)).join('; ')}.`,
        ),
      ]),
      outageTable(report),
    ),
  );
  return `<!doctype html>${renderToString(page)}\n`;
}

function serviceTable(
  services: readonly ReportedService[],
  heading: string | null,
  remark: string | null = null,
): ComponentChildren {
  return [
    heading !== null && h('h2', null, heading),
    remark !== null && h('p', null, remark),
    h(
      'table',
      null,
      header(['Service', 'Availability', 'What it was like']),
      h(
        'tbody',
        null,
        services.map((service) =>
          h(
            'tr',
            null,
            h('th', { scope: 'row' }, service.name),
            h('td', null, sayEstimate(service.figures), small(sayBounds(service.figures))),
            h('td', null, `${remarksOf(service).join('; ')}.`),
          ),
        ),
      ),
    ),
  ];
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
                h('td', null, sayLength(outage)),
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
  return text === null ? null : h('small', null, text);
}
