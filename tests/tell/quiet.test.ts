/** Quiet hours on the calendar of a zone: which instants they hold, in plain nights and in those in which the clock changes. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { passes, type QuietHours, quietAt } from '../../src/tell/quiet.ts';

const night: QuietHours = { from: 22 * 60 + 30, to: 7 * 60 };
const dublin = 'Europe/Dublin';

const at = (text: string) => Date.parse(text);
const said = (text: string, hours: QuietHours, zone: string) => {
  const { last, isQuiet, changesAt } = quietAt(at(text), hours, zone);
  const iso = (instant: number | undefined) =>
    instant === undefined ? null : new Date(instant).toISOString().slice(0, 16);
  return { isQuiet, from: iso(last?.from), to: iso(last?.to), changesAt: iso(changesAt) };
};

const winterNight = { from: '2026-11-24T22:30', to: '2026-11-25T07:00' };

test.each([
  ['before', '2026-11-24T22:29:59.999Z', false, '2026-11-24T22:30'],
  ['as it begins', '2026-11-24T22:30:00Z', true, '2026-11-25T07:00'],
  ['after midnight', '2026-11-25T00:00:00Z', true, '2026-11-25T07:00'],
  ['just before its end', '2026-11-25T06:59:59.999Z', true, '2026-11-25T07:00'],
  ['as it ends', '2026-11-25T07:00:00Z', false, '2026-11-25T22:30'],
])('a night, %s', (_, instant, isQuiet, changesAt) => {
  const found = said(instant, night, dublin);
  expect(found).toMatchObject({ isQuiet, changesAt });
  if (instant >= '2026-11-24T22:30') expect(found).toMatchObject(winterNight);
});

test('hours of one day', () => {
  const rest: QuietHours = { from: 13 * 60, to: 14 * 60 };
  expect(said('2026-11-25T13:30:00Z', rest, dublin).isQuiet).toBe(true);
  expect(said('2026-11-25T02:00:00Z', rest, dublin)).toEqual({
    isQuiet: false,
    from: '2026-11-24T13:00',
    to: '2026-11-24T14:00',
    changesAt: '2026-11-25T13:00',
  });
});

// IANA tz database, Eire: 2026-03-29 01:00 UTC to IST (+1), 2026-10-25 01:00 UTC back to GMT.
test('the night in which the clock goes forward is an hour shorter, that in which it goes back an hour longer', () => {
  expect(said('2026-03-29T02:00:00Z', night, dublin)).toMatchObject({
    from: '2026-03-28T22:30',
    to: '2026-03-29T06:00',
  });
  expect(said('2026-10-25T02:00:00Z', night, dublin)).toMatchObject({
    from: '2026-10-24T21:30',
    to: '2026-10-25T07:00',
  });
});

test('what falls into the hour that is left out begins or ends with it', () => {
  const until = { from: 22 * 60, to: 90 };
  expect(said('2026-03-29T00:30:00Z', until, dublin).to).toBe('2026-03-29T01:00');
  const since = { from: 90, to: 7 * 60 };
  expect(said('2026-03-29T03:00:00Z', since, dublin).from).toBe('2026-03-29T01:00');
});

test('of a time that comes twice a stretch begins at the first and ends at the second', () => {
  const until = { from: 22 * 60, to: 90 };
  expect(said('2026-10-25T00:45:00Z', until, dublin)).toMatchObject({
    isQuiet: true,
    to: '2026-10-25T01:30',
  });
  const since = { from: 90, to: 7 * 60 };
  expect(said('2026-10-25T00:45:00Z', since, dublin)).toMatchObject({
    isQuiet: true,
    from: '2026-10-25T00:30',
  });
});

test('is what the clock on the wall shows, and changes when it says', () => {
  const zone = fc.constantFrom('Europe/Dublin', 'America/St_Johns', 'Pacific/Apia', 'UTC');
  const minute = fc.integer({ min: 0, max: 1_439 });
  const years = { min: at('2024-01-01T00:00:00Z'), max: at('2028-01-01T00:00:00Z') };
  fc.assert(
    fc.property(fc.integer(years), minute, minute, zone, (instant, from, to, timeZone) => {
      fc.pre(from !== to);
      const { isQuiet, last, changesAt } = quietAt(instant, { from, to }, timeZone);
      expect(changesAt).toBeGreaterThan(instant);
      expect(quietAt(changesAt, { from, to }, timeZone).isQuiet).not.toBe(isQuiet);
      expect(quietAt(changesAt - 1, { from, to }, timeZone).isQuiet).toBe(isQuiet);
      if (isQuiet) expect(last?.to).toBe(changesAt);
      // Another reading of the same clock, away from the nights in which it changes.
      const day = 24 * 3_600_000;
      const shown = (at: number) => {
        const format = new Intl.DateTimeFormat('en-GB', { timeZone, timeStyle: 'short' });
        const [hour = '', minutes = ''] = format.format(at).split(':');
        return Number(hour) * 60 + Number(minutes);
      };
      fc.pre(shown(instant - day) === shown(instant) && shown(instant + day) === shown(instant));
      const now = shown(instant);
      expect(isQuiet).toBe(from < to ? now >= from && now < to : now >= from || now < to);
    }),
    { numRuns: 300 },
  );
});

test('what is urgent goes out, and a test; what is wrong with Rollcall itself waits', () => {
  const about = (type: string, serviceId: string | null) => passes({ type, serviceId }, ['nas']);
  expect(about('rollcall.service.down', 'nas')).toBe(true);
  expect(about('rollcall.service.down', 'shop')).toBe(false);
  expect(about('rollcall.test', null)).toBe(true);
  expect(about('rollcall.self.trouble', null)).toBe(false);
});
