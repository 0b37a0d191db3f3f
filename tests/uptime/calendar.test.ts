/** Months as text, and how months and days tile time; single transitions stand in tests/reference. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import {
  dateIn,
  dayIn,
  instantOf,
  isMonth,
  monthAt,
  monthBefore,
  monthIn,
  weekBefore,
} from '../../src/uptime/calendar.ts';

test.each(['2026-11', '2026-01', '1999-12'])('%s is a month', (text) => {
  expect(isMonth(text)).toBe(true);
});

test.each(['2026-00', '2026-13', '2026-1', '26-11', '2026-11-25', '+002026-11', '', '2026-11\n'])(
  '%j is no month',
  (text) => {
    expect(isMonth(text)).toBe(false);
  },
);

test('what is no month, and an unknown zone, is refused', () => {
  expect(() => monthIn('2026-13', 'Europe/Dublin')).toThrow(RangeError);
  expect(() => monthIn('2026-11', 'Europe/Atlantis')).toThrow(RangeError);
});

const zone = fc.constantFrom('Europe/Dublin', 'America/Santiago', 'Pacific/Apia', 'Asia/Kolkata');

test('an instant lies in its month, and the next month begins where that ends', () => {
  fc.assert(
    fc.property(zone, fc.integer({ min: 0, max: 4_102_444_800_000 }), (name, at) => {
      const { from, to } = monthIn(monthAt(at, name), name);
      expect(from <= at && at < to).toBe(true);
      expect(monthIn(monthAt(to, name), name).from).toBe(to);
    }),
  );
});

test('the days of a month make it up without a gap', () => {
  fc.assert(
    fc.property(zone, fc.integer({ min: 1990, max: 2060 }), fc.nat(11), (name, year, nth) => {
      const month = `${year}-${String(nth + 1).padStart(2, '0')}`;
      const { from, to } = monthIn(month, name);
      const days = new Date(Date.UTC(year, nth + 1, 0)).getUTCDate();
      let at = from;
      for (let day = 1; day <= days; day += 1) {
        const interval = dayIn(`${month}-${String(day).padStart(2, '0')}`, name);
        expect(interval.from).toBe(at);
        at = interval.to;
      }
      expect(at).toBe(to);
    }),
    { numRuns: 20 },
  );
});

test.each([
  // A Monday, the Sunday before it, and the Monday after the end of Irish summer time.
  ['2026-11-30T08:00:00Z', 'Europe/Dublin', '2026-11-23T00:00:00Z', '2026-11-30T00:00:00Z'],
  ['2026-11-29T23:59:59Z', 'Europe/Dublin', '2026-11-16T00:00:00Z', '2026-11-23T00:00:00Z'],
  ['2026-10-26T08:00:00Z', 'Europe/Dublin', '2026-10-18T23:00:00Z', '2026-10-26T00:00:00Z'],
  // Sunday in London, Monday in Kiritimati.
  ['2026-11-29T11:00:00Z', 'Pacific/Kiritimati', '2026-11-22T10:00:00Z', '2026-11-29T10:00:00Z'],
])('the week before the one of %s in %s', (at, name, from, to) => {
  const week = weekBefore(Date.parse(at), name);
  expect([week.from, week.to]).toEqual([from, to].map((text) => Date.parse(text)));
});

test.each([
  ['2026-11-01T08:00:00Z', 'Europe/Dublin', '2026-10'],
  ['2027-01-31T12:00:00Z', 'Europe/Dublin', '2026-12'],
  ['2026-10-31T13:00:00Z', 'Pacific/Kiritimati', '2026-10'],
])('the month before the one of %s in %s', (at, name, month) => {
  expect(monthBefore(Date.parse(at), name)).toBe(month);
});

test('whenever one looks, the week before is over, began on a Monday, and is the one before that week’s successor', () => {
  fc.assert(
    fc.property(zone, fc.integer({ min: 0, max: 4_102_444_800_000 }), (name, at) => {
      const { from, to } = weekBefore(at, name);
      expect(to).toBeLessThanOrEqual(at);
      expect(dateIn(from, name).dayOfWeek).toBe(1);
      expect(weekBefore(to, name)).toEqual({ from, to });
      expect(weekBefore(from, name).to).toBe(from);
    }),
  );
});

test.each([
  ['2026-12-05 20:00', 'Europe/Dublin', '2026-12-05T20:00:00Z'],
  ['2026-12-05T20:00:30', 'Asia/Tokyo', '2026-12-05T11:00:30Z'],
  // RFC 3339 §5.8: an offset says it all.
  ['1996-12-19T16:39:57-08:00', 'Europe/Dublin', '1996-12-20T00:39:57Z'],
  ['1985-04-12T23:20:50.52Z', 'Europe/Dublin', '1985-04-12T23:20:50.520Z'],
  // RFC 5545 §3.3.5: 1:30 comes twice on 4 November 2007 in New York, and the first is meant; 2:30 is left out on 11 March.
  ['2007-11-04 01:30', 'America/New_York', '2007-11-04T05:30:00Z'],
  ['2007-03-11 02:30', 'America/New_York', '2007-03-11T07:30:00Z'],
])('%s in %s is %s', (text, name, expected) => {
  expect(instantOf(text, name)).toBe(Date.parse(expected));
});

test.each([
  ['2026-02-30 20:00', 'Europe/Dublin'],
  ['2026-12-05', 'Europe/Dublin'],
  ['20:00', 'Europe/Dublin'],
  ['2026-12-05 24:30', 'Europe/Dublin'],
  ['2026-12-05 20:00', 'Europe/Fernhill'],
  ['2026-12-05T20:00:00+25:00', 'Europe/Dublin'],
  ['2026-12-05T20:00:00[Europe/Dublin]', 'Europe/Dublin'],
  ['', 'Europe/Dublin'],
])('%j in %s is no instant', (text, name) => {
  expect(instantOf(text, name)).toBeNull();
});
