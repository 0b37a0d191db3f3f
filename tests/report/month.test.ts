/** The report of a month, in figures that were worked out by hand. */
import { describe, expect, test } from 'vitest';
import { monthReport } from '../../src/report/month.ts';
import { at, dayS, hourS, novemberAt } from './fernhill.ts';

/** The month is over, and a stock list that went down on the 25th never came back. */
const over = novemberAt(31 * dayS);
/** On the 25th, an hour and a half after it went down. */
const running = novemberAt(24 * dayS + 1.5 * hourS);

const serviceOf = (report: typeof over, id: string) =>
  report.services.find((service) => service.id === id);

describe('a month that is over', () => {
  test('has its whole length, on the calendar of the zone', () => {
    expect(over).toMatchObject({
      month: '2026-11',
      from: at(0),
      to: at(30 * dayS),
      until: at(30 * dayS),
      over: true,
    });
  });

  test('gives each service with its outages, in order, and what explains them', () => {
    const book = serviceOf(over, 'order-book');
    expect(book?.figures).toMatchObject({
      outages: 2,
      unconfirmed: 1,
      externallyDisabledMs: 600_000,
    });
    expect(
      book?.outages.map(({ lengthMs, lowMs, highMs, causeId }) => [
        lengthMs,
        lowMs,
        highMs,
        causeId,
      ]),
    ).toEqual([
      [3_600_000, 3_540_000, 3_660_000, null],
      [600_000, 600_000, 600_000, 'nas'],
    ]);
    expect(book?.outages[0]).toMatchObject({
      begins: { earliest: at(dayS - 60), middle: at(dayS - 30), latest: at(dayS) },
      ends: { middle: at(dayS + hourS - 30) },
      layer: 'port',
      detail: 'nothing listens on db.fernhill.home.arpa:5432',
    });
  });

  test('reckons the budget over the whole month, missed or not; nothing burns any more', () => {
    expect(serviceOf(over, 'order-book')?.budget).toMatchObject({
      allowedMs: 12_960_000,
      usedMs: 4_200_000,
      leftMs: 8_760_000,
    });
    const list = serviceOf(over, 'stock-list');
    expect(list?.budget?.leftMs).toBe(2_592_000 - 6 * dayS * 1_000);
    expect(list?.burning).toBeNull();
    expect(serviceOf(over, 'nas')?.budget).toBeNull();
  });

  test('an outage that was not over at its end counts with what lies in it, and has no end', () => {
    const list = serviceOf(over, 'stock-list');
    expect(list?.figures).toMatchObject({ downMs: 6 * dayS * 1_000, mttrMs: null });
    // The outage itself is told whole: it went on after the month.
    expect(list?.outages).toMatchObject([{ open: true, ends: null, lengthMs: 7 * dayS * 1_000 }]);
  });

  test('gives each group, in the order of the roll, and all together', () => {
    expect(over.groups.map(({ name, members }) => [name, members])).toEqual([
      ['Data', ['order-book', 'stock-list']],
      ['House', ['nas']],
    ]);
    const downS = hourS + 600 + 6 * dayS;
    expect(over.groups[0]?.figures.estimate).toBeCloseTo(1 - downS / (30 * dayS), 12);
    expect(over.totals).toMatchObject({
      servicesCount: 4,
      jobsCount: 0,
      outages: 3,
      downMs: downS * 1_000,
      unobservedMs: dayS * 1_000,
    });
    // A day on which the NAS was not watched is left out of the time of all.
    expect(over.totals.together.estimate).toBeCloseTo(1 - downS / (29 * dayS), 12);
  });
});

describe('a month that is not over', () => {
  test('says so, and ends its figures now', () => {
    const now = at(24 * dayS + 1.5 * hourS);
    expect(running).toMatchObject({ over: false, until: now, to: at(30 * dayS) });
    expect(serviceOf(running, 'notes')?.figures).toMatchObject({ to: now, estimate: 1 });
  });

  test('counts the time to come towards the budget, and tells what burns now', () => {
    const list = serviceOf(running, 'stock-list');
    expect(list?.budget).toMatchObject({
      allowedMs: 2_592_000,
      usedMs: 5_400_000,
      leftMs: -2_808_000,
    });
    expect(list?.burning).toMatchObject({ longMs: 3_600_000, rate: 14.4 });
    expect(serviceOf(running, 'order-book')?.burning).toBeNull();
  });

  test('what burns may have begun in the month before', () => {
    const december = novemberAt(30 * dayS + 60, '2026-12');
    expect(december).toMatchObject({ from: at(30 * dayS), over: false });
    const list = serviceOf(december, 'stock-list');
    expect(list?.figures).toMatchObject({ downMs: 60_000, outages: 0 });
    expect(list?.burning).toMatchObject({ rate: 14.4 });
    expect(list?.outages).toMatchObject([{ open: true }]);
  });
});

test('names and details are cleaned, and nothing of the note or the place is in it', () => {
  const text = JSON.stringify(over);
  expect(text).not.toContain('Under the stairs');
  expect(text).not.toContain('192.0.2.10');
});

test('a roll without services has a report without any', () => {
  const report = monthReport({
    jobs: [],
    title: 'Fernhill',
    month: '2026-11',
    zone: 'UTC',
    now: at(0),
    services: [],
  });
  expect(report).toMatchObject({ services: [], groups: [], until: at(0), over: false });
  expect(report.totals.together.estimate).toBeNull();
});
