/**
 * Due times at the changes of the clock. The instants of the table are those of the zones' own rules (IANA tz, 2025c and
 * later agree on them), by the conventions of Debian's cron(8) 3.0pl1 for times that are skipped or come twice.
 * Away from the changes a second library is asked.
 */
import { CronExpressionParser } from 'cron-parser';
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { occurrencesOf, scheduleComplaint } from '../../src/schedule/occurrences.ts';

const at = (text: string) => Date.parse(text);
const textOf = (ms: number | null) =>
  ms === null ? null : new Date(ms).toISOString().replace(':00.000Z', 'Z');

const berlin = 'Europe/Berlin';
const newYork = 'America/New_York';
const lordHowe = 'Australia/Lord_Howe';
const apia = 'Pacific/Apia';
const table: readonly [zone: string, schedule: string, from: string, due: readonly string[]][] = [
  // Skipped: due when the gap ends, and the day after as ever.
  [berlin, '30 2 * * *', '2026-03-28T12:00Z', ['2026-03-29T01:00Z', '2026-03-30T00:30Z']],
  [berlin, '0 2 * * *', '2026-03-28T12:00Z', ['2026-03-29T01:00Z']],
  [berlin, '0 3 * * *', '2026-03-28T12:00Z', ['2026-03-29T01:00Z']],
  [berlin, '30 2 29 3 *', '2026-03-28T12:00Z', ['2026-03-29T01:00Z']],
  [newYork, '30 2 * * *', '2026-03-07T12:00Z', ['2026-03-08T07:00Z']],
  [lordHowe, '15 2 * * *', '2026-10-02T20:00Z', ['2026-10-03T15:30Z', '2026-10-04T15:15Z']],
  // Twice: due the first time only.
  [berlin, '30 2 * * *', '2026-10-24T12:00Z', ['2026-10-25T00:30Z', '2026-10-26T01:30Z']],
  [newYork, '30 1 * * *', '2026-10-31T12:00Z', ['2026-11-01T05:30Z', '2026-11-02T06:30Z']],
  [lordHowe, '45 1 * * *', '2026-04-03T20:00Z', ['2026-04-04T14:45Z', '2026-04-05T15:15Z']],
  // With a wildcard: by the new time at once, no hour lost and none doubled.
  [berlin, '0 * * * *', '2026-03-28T23:30Z', ['2026-03-29T00:00Z', '2026-03-29T01:00Z']],
  [
    berlin,
    '0 * * * *',
    '2026-10-24T22:30Z',
    ['2026-10-24T23:00Z', '2026-10-25T00:00Z', '2026-10-25T01:00Z', '2026-10-25T02:00Z'],
  ],
  [lordHowe, '0 * * * *', '2026-04-04T13:30Z', ['2026-04-04T14:00Z', '2026-04-04T15:30Z']],
  // A day that never was, and a midnight that never was.
  [
    apia,
    '0 12 * * *',
    '2011-12-28T12:00Z',
    ['2011-12-28T22:00Z', '2011-12-29T22:00Z', '2011-12-30T22:00Z', '2011-12-31T22:00Z'],
  ],
  ['Asia/Beirut', '0 0 * * *', '2026-03-27T12:00Z', ['2026-03-27T22:00Z', '2026-03-28T22:00Z']],
  // Day of the month and day of the week both given: either (POSIX.1-2017, crontab).
  [
    'UTC',
    '0 0 1,15 * 1',
    '2026-01-31T12:00Z',
    ['2026-02-01T00:00Z', '2026-02-02T00:00Z', '2026-02-09T00:00Z', '2026-02-15T00:00Z'],
  ],
];

test.each(table)('%s: `%s` from %s falls due at %j', (zone, schedule, from, due) => {
  const occurrences = occurrencesOf(schedule, zone);
  const found: (number | null)[] = [];
  for (let last = at(from); found.length < due.length; ) {
    const next = occurrences.next(last);
    found.push(next);
    last = next ?? Number.POSITIVE_INFINITY;
  }
  expect(found.map(textOf)).toEqual(due);
});

test('looks back to the same instants: the one at hand included', () => {
  const nightly = occurrencesOf('30 2 * * *', berlin);
  expect(textOf(nightly.last(at('2026-03-29T12:00Z')))).toBe('2026-03-29T01:00Z');
  expect(textOf(nightly.last(at('2026-03-29T01:00Z')))).toBe('2026-03-29T01:00Z');
  expect(textOf(nightly.last(at('2026-03-29T01:00Z') - 1))).toBe('2026-03-28T01:30Z');
  expect(textOf(nightly.last(at('2026-10-25T12:00Z')))).toBe('2026-10-25T00:30Z');
});

test('within a range the first instant counts and the last one does not', () => {
  const hourly = occurrencesOf('0 * * * *', 'UTC');
  const from = at('2026-11-25T00:00Z');
  expect(hourly.within(from, from + 3 * 3_600_000, 10)).toHaveLength(3);
  expect(hourly.within(from, from + 3 * 3_600_000, 2)).toHaveLength(2);
  expect(hourly.within(from + 1, from + 3_600_000, 10)).toHaveLength(0);
});

test('looking forward and looking back agree at any instant', () => {
  const schedules = fc.constantFrom('15 2 * * *', '*/20 * * * *', '0 4 * * 0', '30 1,13 * * 1-5');
  const zones = fc.constantFrom(berlin, newYork, lordHowe, 'UTC');
  const instants = fc.integer({ min: at('2026-01-01T00:00Z'), max: at('2027-01-01T00:00Z') });
  fc.assert(
    fc.property(schedules, zones, instants, (schedule, zone, now) => {
      const occurrences = occurrencesOf(schedule, zone);
      const next = occurrences.next(now);
      const last = occurrences.last(now);
      expect(next).toBeGreaterThan(now);
      expect(last).toBeLessThanOrEqual(now);
      if (next !== null) expect(occurrences.last(next)).toBe(next);
    }),
    { numRuns: 300, seed: 1 },
  );
});

test('away from the changes of the clock a second library finds the same', () => {
  // Berlin keeps one offset from April to September and from November to February.
  const quiet = fc.oneof(
    fc.integer({ min: at('2026-04-02T00:00Z'), max: at('2026-10-20T00:00Z') }),
    fc.integer({ min: at('2026-11-02T00:00Z'), max: at('2027-03-20T00:00Z') }),
  );
  const field = (max: number, min = 0) =>
    fc.oneof(fc.constant('*'), fc.integer({ min, max }).map(String));
  const schedules = fc.tuple(field(59), field(23), field(28, 1), fc.constant('*'), field(6));
  fc.assert(
    fc.property(schedules, quiet, (fields, now) => {
      const schedule = fields.join(' ');
      const other = CronExpressionParser.parse(schedule, {
        tz: berlin,
        currentDate: new Date(now),
      }).next();
      const own = occurrencesOf(schedule, berlin).next(now);
      // One that would fall beyond the next change is none of this test.
      if (own !== null && own - now < 4 * 24 * 3_600_000) expect(own).toBe(other.getTime());
    }),
    { numRuns: 300, seed: 1 },
  );
});

test.each([
  ['15 2 * *', /expected five fields/],
  ['15 2 * * * *', /expected five fields/],
  ['61 * * * *', /61/],
  ['30 2 31 2 *', /never falls due/],
  ['a b c d e', /illegal/],
])('says what is wrong with `%s`', (schedule, complaint) => {
  expect(scheduleComplaint(schedule)).toMatch(complaint);
});

test('has nothing to say against a good one', () => {
  expect(scheduleComplaint('15 2 * * *')).toBeNull();
  expect(scheduleComplaint('0 0 29 2 *')).toBeNull();
});
