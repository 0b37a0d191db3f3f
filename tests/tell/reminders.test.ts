/** When an outage that lasts is told again: read off the outbox, and nothing else. */
import { expect, test } from 'vitest';
import type { DeliveryReport } from '../../src/record/record.ts';
import { nextReminderAt } from '../../src/tell/reminders.ts';
import { fourOClock, notice } from '../support/telling.ts';

const hour = 3_600_000;
const remindMs = 4 * hour;

function report(type: string, atHour: number, more: Partial<DeliveryReport> = {}): DeliveryReport {
  const at = fourOClock + atHour * hour;
  return {
    notice: notice(`${type} ${atHour}`, { type: `rollcall.${type}`, at }),
    channel: 'phone',
    state: 'delivered',
    attempts: [{ at, tookMs: 1, status: 204, detail: '' }],
    foldedInto: null,
    fallbackFor: null,
    ...more,
  };
}
const down = report('service.down', 0);
const reminders = (...hours: readonly number[]) =>
  hours.map((atHour) => report('outage.reminder', atHour));

const nextHour = (reports: readonly DeliveryReport[], summedAt: number | null = null) => {
  const heard = { reports, channel: 'phone', summedAt: () => summedAt };
  const at = nextReminderAt(heard, remindMs);
  return at === null ? null : (at - fourOClock) / hour;
};

test.each([
  ['told once', [down], 4],
  ['reminded once', [down, ...reminders(4)], 12],
  ['reminded twice', [down, ...reminders(4, 12)], 28],
  ['at most a day apart', [down, ...reminders(4, 12, 28)], 52],
  ['and still', [down, ...reminders(4, 12, 28, 52, 76)], 100],
  ['later than it was due', [down, ...reminders(7)], 15],
  ['never told', [], null],
  ['not delivered yet', [report('service.down', 0, { state: 'waiting' })], null],
  ['not deliverable', [report('service.down', 0, { state: 'dead' })], null],
  ['withdrawn', [report('service.down', 0, { state: 'withdrawn' })], null],
  ['told on another channel', [report('service.down', 0, { channel: 'chat' })], null],
  ['told in place of another', [report('service.down', 0, { fallbackFor: 'chat' })], null],
  [
    'told by another in its place',
    [
      report('service.down', 0, { state: 'waiting' }),
      report('service.down', 1, { channel: 'mail', fallbackFor: 'phone' }),
    ],
    5,
  ],
  [
    'told by another in its place, and a reminder on its way',
    [
      report('service.down', 0, { state: 'dead' }),
      report('service.down', 1, { channel: 'mail', fallbackFor: 'phone' }),
      report('outage.reminder', 5, { state: 'waiting' }),
    ],
    null,
  ],
  [
    'a reminder on its way',
    [down, report('outage.reminder', 4, { state: 'waiting', attempts: [] })],
    null,
  ],
  [
    'folded into its cause',
    [report('service.down', 0, { state: 'folded', foldedInto: 'c' })],
    null,
  ],
] as const)('%s', (_, reports, expected) => {
  expect(nextHour(reports)).toBe(expected);
});

test('told by a sum counts from when that was delivered', () => {
  const folded = report('service.down', 0, { state: 'folded', foldedInto: 'sum', attempts: [] });
  expect(nextHour([folded], fourOClock + 3 * hour)).toBe(7);
});

test('a time of more than a day is kept as it is', () => {
  const heard = { reports: [down, ...reminders(48)], channel: 'phone', summedAt: () => null };
  expect(nextReminderAt(heard, 48 * hour)).toBe(fourOClock + 96 * hour);
});
