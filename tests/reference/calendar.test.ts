/**
 * Days and months at the changes of the clock: against transitions read in the IANA time zone data, and against js-joda,
 * a library that brings its own copy of those data. (luxon is no reference here: it reads a local time that occurs twice
 * by the offset in force on the day on which the program runs.)
 */
import { LocalDate, YearMonth, ZoneId } from '@js-joda/core';
import '@js-joda/timezone';
import { describe, expect, test } from 'vitest';
import { allowedDownMs } from '../../src/uptime/budget.ts';
import { dayIn, localMinute, monthAt, monthIn } from '../../src/uptime/calendar.ts';

const hourMs = 3_600_000;

function jodaStart(date: LocalDate, zone: string): number {
  return date.atStartOfDay(ZoneId.of(zone)).toInstant().toEpochMilli();
}

// Rules as written in the tz database (europe, northamerica, southamerica, asia, australasia, backward); instants recomputed.
// biome-ignore format: a table
const days: readonly [day: string, zone: string, begins: string, hours: number][] = [
  ['2026-03-29', 'Europe/Dublin', '2026-03-29T00:00:00Z', 23],
  ['2026-10-25', 'Europe/Dublin', '2026-10-24T23:00:00Z', 25],
  ['2026-03-29', 'Europe/Berlin', '2026-03-28T23:00:00Z', 23],
  ['2026-10-25', 'Europe/Berlin', '2026-10-24T22:00:00Z', 25],
  ['2026-03-08', 'America/New_York', '2026-03-08T05:00:00Z', 23],
  ['2026-11-01', 'America/New_York', '2026-11-01T04:00:00Z', 25],
  // By half an hour.
  ['2026-04-05', 'Australia/Lord_Howe', '2026-04-04T13:00:00Z', 24.5],
  ['2026-10-04', 'Australia/Lord_Howe', '2026-10-03T13:30:00Z', 23.5],
  // Midnight does not exist: the day begins at 01:00.
  ['2018-11-04', 'America/Sao_Paulo', '2018-11-04T03:00:00Z', 23],
  ['2026-03-29', 'Asia/Beirut', '2026-03-28T22:00:00Z', 23],
  ['2024-09-08', 'America/Santiago', '2024-09-08T04:00:00Z', 23],
  // 23:00 to 24:00 occurs twice: the day before is long.
  ['2026-10-24', 'Asia/Beirut', '2026-10-23T21:00:00Z', 25],
  ['2024-04-06', 'America/Santiago', '2024-04-06T03:00:00Z', 25],
  // 00:00 to 01:00 occurs twice: the day begins with the first.
  ['2024-11-03', 'America/Havana', '2024-11-03T04:00:00Z', 25],
  // A day that was left out, and its neighbours.
  ['2011-12-29', 'Pacific/Apia', '2011-12-29T10:00:00Z', 24],
  ['2011-12-30', 'Pacific/Apia', '2011-12-30T10:00:00Z', 0],
  ['2011-12-31', 'Pacific/Apia', '2011-12-30T10:00:00Z', 24],
];

describe('days', () => {
  test.each(days)('%s in %s begins at %s and has %d hours', (day, zone, begins, hours) => {
    const { from, to } = dayIn(day, zone);
    expect([from, (to - from) / hourMs]).toEqual([Date.parse(begins), hours]);
  });

  // js-joda has no day that was left out: it begins 30 December in Apia where 31 December ends.
  test.each(days.filter(([, , , hours]) => hours > 0))(
    '%s in %s is the same to js-joda',
    (day, zone) => {
      const date = LocalDate.parse(day);
      expect(dayIn(day, zone)).toEqual({
        from: jodaStart(date, zone),
        to: jodaStart(date.plusDays(1), zone),
      });
    },
  );
});

// Changed by newer data than either library may have: Vancouver, Edmonton, Morocco. They are left out.
// biome-ignore format: a table
const zones = [
  'UTC', 'Europe/Dublin', 'Europe/Berlin', 'America/New_York', 'America/Sao_Paulo', 'America/Santiago', 'America/Havana',
  'America/St_Johns', 'Asia/Beirut', 'Asia/Kolkata', 'Asia/Kathmandu', 'Australia/Lord_Howe', 'Australia/Adelaide',
  'Pacific/Apia', 'Pacific/Chatham', 'Pacific/Kiritimati', 'Africa/Cairo', 'Asia/Amman', 'Asia/Tehran',
];

describe('every month of 2005 to 2025, and every day of some of these years', () => {
  test.each(zones)('in %s begins where js-joda has it begin', (zone) => {
    const wrong: string[] = [];
    for (const year of [2011, 2018, 2024]) {
      for (let date = LocalDate.of(year, 1, 1); date.year() === year; date = date.plusDays(1)) {
        const leftOut = zone === 'Pacific/Apia' && `${date}` === '2011-12-30';
        const begins = dayIn(`${date}`, zone).from;
        if (!leftOut && begins !== jodaStart(date, zone)) wrong.push(`${date}`);
      }
    }
    for (let month = YearMonth.of(2005, 1); month.year() < 2026; month = month.plusMonths(1)) {
      const expected = {
        from: jodaStart(month.atDay(1), zone),
        to: jodaStart(month.plusMonths(1).atDay(1), zone),
      };
      const found = monthIn(`${month}`, zone);
      if (found.from !== expected.from || found.to !== expected.to) wrong.push(`${month}`);
    }
    expect(wrong).toEqual([]);
  });
});

describe('months', () => {
  // Days as in every calendar; the hours more and less are those of the table above.
  test.each([
    ['2026-02', 'Europe/Berlin', 28 * 24],
    ['2024-02', 'Europe/Berlin', 29 * 24],
    ['2026-03', 'Europe/Berlin', 31 * 24 - 1],
    ['2026-10', 'Europe/Berlin', 31 * 24 + 1],
    ['2026-11', 'Europe/Berlin', 30 * 24],
    ['2026-11', 'America/New_York', 30 * 24 + 1],
    ['2026-04', 'Australia/Lord_Howe', 30 * 24 + 0.5],
    ['2011-12', 'Pacific/Apia', 30 * 24],
  ])('%s in %s has %d hours', (month, zone, hours) => {
    const { from, to } = monthIn(month, zone);
    expect((to - from) / hourMs).toBe(hours);
  });

  // B8: 99.9 % of such months; recomputed.
  test.each([
    ['2026-02', 2_419.2],
    ['2026-03', 2_674.8],
    ['2026-10', 2_682],
  ])('99.9 %% of %s in Europe/Berlin allow %d s', (month, seconds) => {
    const { from, to } = monthIn(month, 'Europe/Berlin');
    expect(allowedDownMs(to - from, 0.999)).toBe(seconds * 1_000);
  });

  test('a month begins in one zone while another still has the one before', () => {
    const at = Date.parse('2026-10-31T23:30:00Z');
    expect(monthAt(at, 'Europe/Berlin')).toBe('2026-11');
    expect(monthAt(at, 'Europe/Dublin')).toBe('2026-10');
  });
});

// The tz database's own example of a day that begins neither at midnight nor at a full hour: 23:30 is followed by 00:30.
test('Toronto, 31 March 1919: the day begins at half past midnight', () => {
  expect(dayIn('1919-03-31', 'America/Toronto').from).toBe(Date.parse('1919-03-31T04:30:00Z'));
});

test('an instant on the clock of a zone, cut to the minute', () => {
  expect(localMinute(Date.parse('2026-03-29T01:00:59.999Z'), 'Europe/Berlin')).toBe(
    '2026-03-29 03:00',
  );
});
