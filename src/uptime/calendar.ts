/**
 * Days and months on the calendar of a zone, as intervals of instants: a day may have 23 or 25 hours, or none at all.
 * Pure as the rest of uptime: of the library only what converts is used, never its clock.
 */
import { Temporal } from 'temporal-polyfill';
import type { Interval } from './intervals.ts';

/** Whether the text is a month, as `2026-11`. */
export function isMonth(text: string): boolean {
  return /^\d{4}-(?:0[1-9]|1[0-2])$/.test(text);
}

/** The month in which the instant lies on the calendar of the zone (an IANA name): `2026-11`. */
export function monthAt(at: number, zone: string): string {
  return dateAt(at, zone).toPlainYearMonth().toString();
}

/** The month (`2026-11`) in the zone. Throws a RangeError for a text that is no month. */
export function monthIn(month: string, zone: string): Interval {
  const first = Temporal.PlainYearMonth.from(month).toPlainDate({ day: 1 });
  return { from: startOf(first, zone), to: startOf(first.add({ months: 1 }), zone) };
}

/** The day (`2026-11-25`) in the zone. Empty where the zone left that day out: Apia had no 30 December 2011. */
export function dayIn(day: string, zone: string): Interval {
  const date = Temporal.PlainDate.from(day);
  return { from: startOf(date, zone), to: startOf(date.add({ days: 1 }), zone) };
}

/** `2026-11-25 09:14` on the clock of the zone. */
export function localMinute(at: number, zone: string): string {
  const local = zonedAt(at, zone).toPlainDateTime();
  return local.toString({ smallestUnit: 'minute', roundingMode: 'floor' }).replace('T', ' ');
}

/**
 * The first instant of the date, which is not midnight where the clock leaves midnight out, and the first of two where
 * it shows midnight twice. Asking for midnight with a disambiguation would be another thing: where 23:30 is followed by
 * 00:30 (Toronto, 1919) it gives 01:00 or 23:00.
 */
function startOf(date: Temporal.PlainDate, zone: string): number {
  return date.toZonedDateTime({ timeZone: zone }).epochMilliseconds;
}

function dateAt(at: number, zone: string): Temporal.PlainDate {
  return zonedAt(at, zone).toPlainDate();
}

function zonedAt(at: number, zone: string): Temporal.ZonedDateTime {
  return Temporal.Instant.fromEpochMilliseconds(at).toZonedDateTimeISO(zone);
}
