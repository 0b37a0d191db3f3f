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

/** The month that was over when the one of this instant began, as `2026-10`. */
export function monthBefore(at: number, zone: string): string {
  return dateAt(at, zone).toPlainYearMonth().subtract({ months: 1 }).toString();
}

/** The week from Monday to Sunday (ISO 8601) that was over when the one of this instant began. */
export function weekBefore(at: number, zone: string): Interval {
  const date = dateAt(at, zone);
  const monday = date.subtract({ days: date.dayOfWeek - 1 });
  return { from: startOf(monday.subtract({ days: 7 }), zone), to: startOf(monday, zone) };
}

/** The date of the instant: month from 1, day of the week from 1, which is Monday (ISO 8601). */
export function dateIn(at: number, zone: string) {
  const { year, month, day, dayOfWeek } = dateAt(at, zone);
  return { year, month, day, dayOfWeek };
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

const localForm = /^\d{4}-\d{2}-\d{2}[ T]\d{2}:\d{2}(?::\d{2})?$/;
const offsetForm =
  /^\d{4}-\d{2}-\d{2}[Tt ]\d{2}:\d{2}:\d{2}(?:\.\d{1,3})?(?:[Zz]|[+-]\d{2}:\d{2})$/;

/** Whether the text is a day and a time on some clock, as `2026-12-05 20:00`, and there is such a day. */
export function isLocalText(text: string): boolean {
  return localForm.test(text) && orNull(() => Temporal.PlainDateTime.from(isoForm(text))) !== null;
}

/** Whether the text is an instant with its offset (RFC 3339), as `2026-12-05T20:00:00+01:00`. */
export function isOffsetText(text: string): boolean {
  return offsetForm.test(text) && orNull(() => Temporal.Instant.from(isoForm(text))) !== null;
}

/**
 * The instant of such a text; without an offset on the clock of the zone. A time that the clock leaves out falls as long
 * after the change as it would have come after the last second before it; of one that comes twice the first is meant
 * ("compatible", RFC 5545 §3.3.5). Null for any other text, and for a zone that is none.
 */
export function instantOf(text: string, zone: string): number | null {
  if (isOffsetText(text)) return Temporal.Instant.from(isoForm(text)).epochMilliseconds;
  if (!isLocalText(text)) return null;
  const local = Temporal.PlainDateTime.from(isoForm(text));
  return orNull(
    () => local.toZonedDateTime(zone, { disambiguation: 'compatible' }).epochMilliseconds,
  );
}

function isoForm(text: string): string {
  return text.replace(' ', 'T');
}

function orNull<Value>(work: () => Value): Value | null {
  try {
    return work();
  } catch (thrown) {
    if (thrown instanceof RangeError) return null;
    throw thrown;
  }
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
