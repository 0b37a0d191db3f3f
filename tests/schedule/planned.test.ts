/** Windows that rules make: at the changes of the clock to the very instant, and the same however the range is cut. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import type { PlannedRule } from '../../src/base/values.ts';
import { plannedCourse } from '../../src/schedule/planned.ts';

const minuteMs = 60_000;
const hourMs = 60 * minuteMs;
const dayMs = 24 * hourMs;
const at = (text: string) => Date.parse(text);

const scheduled = (schedule: string, lastsMs: number, more: Partial<PlannedRule> = {}) =>
  ({
    kind: 'schedule',
    name: 'Sunday updates',
    why: null,
    serviceIds: ['order-book'],
    schedule,
    timezone: 'Europe/Dublin',
    lastsMs,
    ...more,
  }) as PlannedRule;

test('on the clock of its zone: after the change of the clock the same time of day is another instant', () => {
  const course = plannedCourse([scheduled('0 4 * * 0', 45 * minuteMs)]);
  const windows = course.touching(at('2026-10-18T00:00Z'), at('2026-11-02T00:00Z'), 10);
  // Irish Standard Time (UTC+1) ends on 25 October 2026 at 01:00 UTC: S.I. No. 71/2001, article 2.
  expect(windows.map(({ from }) => new Date(from).toISOString())).toEqual([
    '2026-10-18T03:00:00.000Z',
    '2026-10-25T04:00:00.000Z',
    '2026-11-01T04:00:00.000Z',
  ]);
  expect(windows.map(({ from, to }) => to - from)).toEqual(Array(3).fill(45 * minuteMs));
});

test('a window over the change of the clock lasts as long as ever', () => {
  const course = plannedCourse([scheduled('30 0 * * *', 2 * hourMs)]);
  const [window] = course.touching(at('2026-10-25T00:00Z'), at('2026-10-25T01:00Z'), 10);
  // From 00:30 (UTC+1) for two hours: until 01:30 on the clock that was set back meanwhile.
  expect(window).toMatchObject({
    from: at('2026-10-24T23:30Z'),
    to: at('2026-10-25T01:30Z'),
    id: 'sunday-updates.2026-10-24T23:30:00.000Z',
    origin: 'schedule',
    serviceIds: ['order-book'],
  });
});

test('a time of day that is left out comes when the clock goes on', () => {
  const course = plannedCourse([scheduled('30 1 * * *', hourMs)]);
  // 29 March 2026: 00:59:59 is followed by 02:00:00 (UTC+1).
  const [window] = course.touching(at('2026-03-29T00:00Z'), at('2026-03-29T12:00Z'), 10);
  expect(window?.from).toBe(at('2026-03-29T01:00Z'));
});

test('what touches the range is found, also where it began long before it', () => {
  const course = plannedCourse([scheduled('0 4 * * 0', 7 * dayMs)]);
  const touched = course.touching(at('2026-11-25T00:00Z'), at('2026-11-25T00:01Z'), 10);
  expect(touched.map(({ from }) => from)).toEqual([at('2026-11-22T04:00Z')]);
  expect(course.touching(at('2026-11-22T03:00Z'), at('2026-11-22T04:00Z'), 10)).toHaveLength(1);
  const once = plannedCourse([
    { kind: 'once', name: 'Move', why: null, serviceIds: null, from: 10, to: 20 },
  ]);
  expect(once.touching(19, 30, 10)).toHaveLength(1);
  expect([once.touching(20, 30, 10), once.touching(0, 10, 10)]).toEqual([[], []]);
  expect([once.nextAfter(9), once.nextAfter(10)]).toEqual([10, null]);
});

test('each due time is a window of its own, also where they overlap', () => {
  const course = plannedCourse([scheduled('*/10 * * * *', 25 * minuteMs)]);
  const windows = course.touching(at('2026-11-25T10:00Z'), at('2026-11-25T10:00:01Z'), 10);
  expect(windows.map(({ from }) => new Date(from).toISOString().slice(11, 16))).toEqual([
    '09:40',
    '09:50',
    '10:00',
  ]);
});

test('cut anywhere, a range has the windows of its two parts', () => {
  const course = plannedCourse([
    scheduled('0 4 * * 0', 45 * minuteMs),
    scheduled('30 0,2 * * *', 3 * hourMs, { name: 'Nightly' }),
  ]);
  const [from, to] = [at('2026-10-20T00:00Z'), at('2026-10-30T00:00Z')];
  const idsOf = (begins: number, ends: number) =>
    course.touching(begins, ends, 1_000).map(({ id }) => id);
  const whole = new Set(idsOf(from, to));
  fc.assert(
    fc.property(fc.integer({ min: from + 1, max: to - 1 }), (cut) => {
      expect(new Set([...idsOf(from, cut), ...idsOf(cut, to)])).toEqual(whole);
    }),
    { numRuns: 100 },
  );
});
