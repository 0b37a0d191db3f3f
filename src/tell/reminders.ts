/**
 * When an outage that lasts is told again: after the channel's time, then after twice as long, and so on, at most a day
 * apart. Pure, and without memory of its own: what was told, and how often, is read off the outbox, so that a restart
 * changes nothing.
 */
import { outageTypes } from '../base/notice-types.ts';
import type { DeliveryReport } from '../record/record.ts';

export const reminderType = 'rollcall.outage.reminder';

const dayMs = 24 * 3_600_000;

export interface Heard {
  /** Of one outage, in the order in which they were made. */
  readonly reports: readonly DeliveryReport[];
  readonly channel: string;
  /** When the notice that another was folded into was delivered on this channel; null: it was not, or is no sum. */
  readonly summedAt: (noticeId: string) => number | null;
}

/** When the next reminder is due; null: the channel has not heard of the outage, or a reminder is on its way. */
export function nextReminderAt(heard: Heard, remindMs: number): number | null {
  // Who hears of it in another's place is reminded in that one's place.
  const own = heard.reports.filter((report) => {
    return report.channel === heard.channel && report.fallbackFor === null;
  });
  // It may have been told by the one that stands in for it alone.
  const toldAt = [...own, ...heard.reports.filter((one) => one.fallbackFor === heard.channel)]
    .filter(({ notice }) => outageTypes.includes(notice.type))
    .map((report) => deliveredAt(report, heard.summedAt))
    .find((at) => at !== null);
  const reminders = own.filter(({ notice }) => notice.type === reminderType);
  if (toldAt === undefined || toldAt === null) return null;
  if (reminders.some(({ state }) => state === 'waiting')) return null;
  const last = reminders.at(-1);
  const lastAt = last ? (deliveredAt(last, heard.summedAt) ?? last.notice.at) : toldAt;
  return lastAt + gapMs(reminders.length, remindMs);
}

/** Before the reminder of this number, from 0. */
function gapMs(number: number, remindMs: number): number {
  return Math.min(remindMs * 2 ** number, Math.max(dayMs, remindMs));
}

function deliveredAt(
  { state, attempts, foldedInto }: DeliveryReport,
  summedAt: Heard['summedAt'],
): number | null {
  if (state === 'delivered') return attempts.at(-1)?.at ?? null;
  return state === 'folded' && foldedInto !== null ? summedAt(foldedInto) : null;
}
