/** The forms of a report: what stands in each, and that no text breaks out of any. */
import { csvParse, csvParseRows } from 'd3-dsv';
import { describe, expect, test } from 'vitest';
import { reportAs } from '../../src/report/formats.ts';
import { dayS, hourS, novemberAt } from './fernhill.ts';

const over = novemberAt(31 * dayS);
const running = novemberAt(24 * dayS + 1.5 * hourS);

describe('text', () => {
  const text = reportAs('text', over);

  test('says first how it was for all, then for each', () => {
    expect(text.split('\n').slice(0, 8)).toEqual([
      'Fernhill Pottery, November 2026',
      '===============================',
      '',
      'All 4 services were up 79.14 % of the time (79.13 to 79.14 %); 3 outages, 6 days 1 h in all.',
      'Times are those of Europe/Dublin.',
      '',
      'Glaze notes: 100 %',
      '    No outage; mean time between failures probably above 10 days (95 % confidence); outages',
    ]);
  });

  test('tells of a service its outages, budget and what nobody saw', () => {
    const told = text.replace(/\s+/g, ' ');
    expect(told).toContain(
      'Order book: 99.83 % (99.83 to 99.84 %) 2 outages, down for 1 h 10 min; 10 min of its down time behind another service; mean time to restoration 35 min;',
    );
    expect(told).toContain('longest 1 h (59 min to 1 h 1 min); shortest 10 min;');
    expect(told).toContain('objective 99.50 %: 2 h 26 min left of 3 h 36 min, used at 0.3 times');
    expect(told).toContain(
      'outages shorter than 70 s could have been missed; one unconfirmed failure',
    );
    expect(told).toContain(
      '2026-11-01 23:59 1 h (59 min to 1 h 1 min) port: nothing listens on db.fernhill.home.arpa:5432',
    );
    expect(told).toContain('behind <b>NAS</b> & friends;');
    expect(told).toContain('not observed for 1 day;');
  });

  test('says that a month is not over, and what burns', () => {
    const told = reportAs('text', running).replace(/\s+/g, ' ');
    expect(told).toContain('The month is not over: the figures are those up to 2026-11-25 01:30.');
    expect(told).toContain('objective 99.90 % missed: 47 min more than the 43 min allowed');
    expect(told).toContain('the budget burns: over the last 1 h at 14 times the even rate or more');
    expect(told).toContain('1 h 30 min so far');
  });

  test('breaks no line between a number and its unit', () => {
    expect(text.split('\n').every((line) => line.length <= 96)).toBe(true);
    expect(text).not.toMatch(/\d\n\s*(%|min|h|days?|s)\b/);
  });
});

describe('csv', () => {
  const csv = reportAs('csv', over);

  // RFC 4180 §2; read by a reader that is not ours.
  test('a header, then a row each for services, groups and all, every one as wide; lines end in CRLF', () => {
    const rows = csvParseRows(csv);
    expect(rows.map(([, kind]) => kind)).toEqual([
      'kind',
      ...Array<string>(4).fill('service'),
      'group',
      'group',
      'all',
    ]);
    expect(new Set(rows.map(({ length }) => length)).size).toBe(1);
    expect(csv.replaceAll('\r\n', '')).not.toMatch(/[\r\n]/);
    expect(csv.endsWith('\r\n')).toBe(true);
  });

  test('quotes and commas in a name stay in its cell', () => {
    expect(csvParse(csv).map(({ name }) => name)).toContain('Stock list, "old"');
    expect(csv).toContain('"Stock list, ""old"""');
  });

  test('units stand in the headers, and the figures are those of the report', () => {
    const rows = csvParse(csv);
    expect(rows.columns.filter((column) => !/\((s|share|UTC)\)$/.test(column))).toEqual([
      'month',
      'kind',
      'id',
      'name',
      'group',
      'complete',
      'outages',
      'unconfirmed failures',
      'burn rate',
    ]);
    expect(rows[0]).toMatchObject({
      id: 'order-book',
      'until (UTC)': '2026-12-01T00:00:00.000Z',
      complete: 'yes',
      'down (s)': '4200',
      'of that behind another (s)': '600',
      outages: '2',
      'longest outage (s)': '3600',
      'budget left (s)': '8760',
    });
    const [data] = rows.filter(({ kind }) => kind === 'group');
    expect(data).toMatchObject({ name: 'Data', month: '2026-11', outages: '' });
    expect(Number(data?.['mean of services (share)'])).toBeCloseTo(0.89919, 5);
  });

  test('what was not observed is empty, and a month that is not over is not complete', () => {
    const empty = csvParse(reportAs('csv', novemberAt(0)));
    expect(empty[0]).toMatchObject({ complete: 'no', 'availability (share)': '' });
  });
});

describe('json', () => {
  const body = JSON.parse(reportAs('json', over));

  test('has the words of the API: instants in RFC 3339, whole milliseconds', () => {
    expect(body).toMatchObject({
      month: '2026-11',
      timezone: 'Europe/Dublin',
      from: '2026-11-01T00:00:00.000Z',
      to: '2026-12-01T00:00:00.000Z',
      over: true,
      totals: { services: 4, outages: 3 },
    });
    const [book] = body.services;
    expect(book).toMatchObject({
      id: 'order-book',
      availability: { outages: 2, downMs: 4_200_000, longest: { lengthMs: 3_600_000 } },
      budget: { objective: 0.995, leftMs: 8_760_000 },
      burning: null,
      surelySeenMs: 70_000,
    });
    expect(book.outages[0]).toMatchObject({
      began: { earliest: '2026-11-01T23:59:00.000Z', latest: '2026-11-02T00:00:00.000Z' },
      lengthMs: 3_600_000,
      layer: 'port',
      cause: null,
    });
    const fractions = [...JSON.stringify(body).matchAll(/"\w+Ms":-?\d+\.\d+/g)];
    expect(fractions).toEqual([]);
  });

  test('gives groups and all together', () => {
    expect(body.groups[1]).toMatchObject({ name: 'House', members: ['nas'], estimate: 1 });
    expect(body.totals.together.unobservedMs).toBe(dayS * 1_000);
  });
});

describe('html', () => {
  const html = reportAs('html', over);

  test('is one whole page that loads nothing and runs nothing', () => {
    expect(html).toMatch(/^<!doctype html><html lang="en">.*<\/html>\n$/s);
    expect(html).not.toMatch(/<script|<link|<img|@import|url\(|https?:/);
  });

  test('escapes every name', () => {
    expect(html).toContain('&lt;b>NAS&lt;/b> &amp; friends');
    expect(html).not.toContain('<b>');
    expect(reportAs('html', { ...over, title: '</title><script>' })).not.toContain('<script>');
  });

  test('has the services by group, and the outages in order of time', () => {
    const headings = [...html.matchAll(/<(?:th scope="row"|h2)>(.*?)<\//g)].map(([, name]) => name);
    expect(headings.slice(0, 7)).toEqual(
      [
        'Glaze notes',
        'Data',
        'Order book',
        'Stock list, "old"',
        'House',
        '&lt;b>NAS&lt;',
        'Outages',
      ].map((name) => expect.stringContaining(name.slice(0, 8))),
    );
    expect([...html.matchAll(/datetime="([^"]+)"/gi)].map(([, iso]) => iso)).toEqual([
      '2026-11-01T23:59:30.000Z',
      '2026-11-11T00:00:00.000Z',
      '2026-11-25T00:00:00.000Z',
    ]);
  });
});

test('the jobs of the month stand in each form that has sentences, and for programs', () => {
  const counts = { runsCount: 30, failedCount: 2, overdueCount: 1, hangingCount: 0 };
  const report = { ...over, jobs: [{ jobId: 'backup', name: 'A <b>backup</b>', ...counts }] };
  const said = 'Jobs: A <b>backup</b> ran 30 times, failed twice, was overdue once.';
  expect(reportAs('text', report).replace(/\s+/g, ' ')).toContain(said);
  expect(reportAs('html', report).replaceAll('\u00a0', ' ')).toContain(
    said.replaceAll('<', '&lt;'),
  );
  expect(JSON.parse(reportAs('json', report)).jobs).toEqual([
    { id: 'backup', name: 'A <b>backup</b>', runs: 30, failed: 2, overdue: 1, hanging: 0 },
  ]);
  expect(reportAs('text', over)).not.toContain('Jobs');
});
