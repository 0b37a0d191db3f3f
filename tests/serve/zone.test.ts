/** Instants and quantities in words. */
import { expect, test } from 'vitest';
import { sayCount, sayLasting, saySize, sayTook, unbroken, zoneOf } from '../../src/serve/zone.ts';

const dublin = zoneOf('Europe/Dublin');
const at = (text: string) => Date.parse(text);
const now = at('2026-11-25T09:42:10Z');

test.each([
  ['2026-11-25T09:14:05Z', '09:14', '09:14:05'],
  ['2026-11-25T00:00:00Z', '00:00', '00:00:00'],
  ['2026-11-24T23:59:59Z', '24 Nov, 23:59', '24 Nov, 23:59'],
  ['2026-07-03T08:05:00Z', '3 Jul, 09:05', '3 Jul, 09:05'],
  ['2025-12-31T12:00:00Z', '31 Dec 2025, 12:00', '31 Dec 2025, 12:00'],
])('%s is said as %s, exactly as %s', (text, moment, exact) => {
  expect(dublin.moment(at(text), now).text).toBe(moment);
  expect(dublin.exact(at(text), now).text).toBe(exact);
});

test('for machines an instant is RFC 3339 in UTC, whatever the zone', () => {
  expect(zoneOf('Asia/Kathmandu').moment(now, now)).toEqual({
    iso: '2026-11-25T09:42:10.000Z',
    text: '15:27',
  });
});

test('the day of the board is that of its zone', () => {
  expect(zoneOf('Pacific/Auckland').whole(now).text).toBe('Wednesday 25 November 2026, 22:42:10');
  expect(zoneOf('America/Los_Angeles').whole(at('2026-11-25T03:00:00Z')).text).toBe(
    'Tuesday 24 November 2026, 19:00:00',
  );
});

test('an unknown zone is refused at once', () => {
  expect(() => zoneOf('Fernhill/Studio')).toThrow(RangeError);
});

test.each([
  [0, '0.00 ms'],
  [412, '0.41 ms'],
  [994, '0.99 ms'],
  [996, '1.0 ms'],
  [4_149, '4.1 ms'],
  [9_949, '9.9 ms'],
  [9_951, '10 ms'],
  [412_300, '412 ms'],
  [999_600, '1.00 s'],
  [12_340_000, '12.34 s'],
])('%i µs is said as %s', (us, text) => {
  expect(sayTook(us)).toBe(text.replace(' ', '\u00a0'));
});

test('a number and its unit stay together, a duration may break between its parts', () => {
  expect(sayLasting(95 * 60_000)).toBe('1\u00a0h 35\u00a0min');
  expect(sayLasting(-1)).toBe('less than a second');
  expect(unbroken('99.95 to 99.97 %')).toBe('99.95\u00a0to 99.97\u00a0%');
});

test.each([
  [0, '0 kB'],
  [1, '1 kB'],
  [812_400, '813 kB'],
  [12_340_000, '12.3 MB'],
  [2_500_000_000, '2.5 GB'],
])('%i bytes are said as %s', (bytes, text) => {
  expect(saySize(bytes)).toBe(text);
});

test('counts are said in words that agree', () => {
  expect([0, 1, 3].map((count) => sayCount(count, 'outage'))).toEqual([
    'no outage',
    '1 outage',
    '3 outages',
  ]);
});
