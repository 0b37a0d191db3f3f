/** Months as text, and how months and days tile time; single transitions stand in tests/reference. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { dayIn, isMonth, monthAt, monthIn } from '../../src/uptime/calendar.ts';

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
