/**
 * Quiet hours on the calendar of the board's zone: which instants they hold, and what is held back in them. Pure.
 * A stretch of quiet is laid from one wall-clock time to another, so that it is an hour shorter or longer in a night in
 * which the clock changes: what falls into a skipped hour begins or ends with it, and of a time that comes twice a
 * stretch begins at the first and ends at the second.
 */
import { Temporal } from 'temporal-polyfill';
import type { Quiet } from '../record/record.ts';

/** Minutes of the day. Where `to` is not later, it is that of the next day. */
export interface QuietHours {
  readonly from: number;
  readonly to: number;
}

/** [from, to) */
export interface Stretch {
  readonly from: number;
  readonly to: number;
}

export interface QuietState {
  /** The last stretch that began at or before the instant; null: none of the days around it has one. */
  readonly last: Stretch | null;
  readonly isQuiet: boolean;
  /** When quiet begins or ends next. */
  readonly changesAt: number;
}

/** @param zone IANA name */
export function quietAt(at: number, hours: QuietHours, zone: string): QuietState {
  const today = Temporal.Instant.fromEpochMilliseconds(at).toZonedDateTimeISO(zone).toPlainDate();
  const stretches = [-2, -1, 0, 1, 2]
    .map((days) => stretchOf(today.add({ days }), hours, zone))
    .filter(({ from, to }) => from < to);
  const last = stretches.findLast(({ from }) => from <= at) ?? null;
  const next = stretches.find(({ from }) => from > at) ?? null;
  const isQuiet = last !== null && at < last.to;
  return { last, isQuiet, changesAt: isQuiet ? last.to : (next?.from ?? at + dayMs) };
}

const dayMs = 24 * 3_600_000;

function stretchOf(date: Temporal.PlainDate, { from, to }: QuietHours, zone: string): Stretch {
  const lastDate = to > from ? date : date.add({ days: 1 });
  return {
    from: instantOf(date, from, { zone, choice: 'earlier' }),
    to: instantOf(lastDate, to, { zone, choice: 'later' }),
  };
}

/** When the clock of the zone shows this minute of the day; where it leaves it out, when it does so. */
function instantOf(
  date: Temporal.PlainDate,
  minuteOfDay: number,
  { zone, choice }: { zone: string; choice: 'earlier' | 'later' },
): number {
  const local = date.toPlainDateTime({
    hour: Math.floor(minuteOfDay / 60),
    minute: minuteOfDay % 60,
  });
  const found = local.toZonedDateTime(zone, { disambiguation: choice });
  if (found.toPlainDateTime().equals(local)) return found.epochMilliseconds;
  const before = local.toZonedDateTime(zone, { disambiguation: 'earlier' });
  return (before.getTimeZoneTransition('next') ?? found).epochMilliseconds;
}

export interface QuietChannel {
  readonly name: string;
  /** Null or absent: none. */
  readonly quiet?: QuietHours | null;
}

/** A test is asked for by somebody who waits for it. What is wrong with Rollcall itself can wait for the morning. */
const passingTypes: readonly string[] = ['rollcall.test'];

/** What the record is to keep back on this channel in its quiet hours. */
export function heldBack(channel: string, urgentIds: readonly string[]): Quiet {
  return { channel, serviceIds: urgentIds, types: passingTypes };
}

/** Whether the notice goes out in quiet hours as well. */
export function passes(
  { type, serviceId }: { readonly type: string; readonly serviceId: string | null },
  urgentIds: readonly string[],
): boolean {
  return passingTypes.includes(type) || (serviceId !== null && urgentIds.includes(serviceId));
}
