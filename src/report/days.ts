/** Days on the calendar of a zone, as sentences say them. */
import { dateIn, localMinute } from '../uptime/calendar.ts';
import { months } from './words.ts';

const weekdays = [
  'Monday',
  'Tuesday',
  'Wednesday',
  'Thursday',
  'Friday',
  'Saturday',
  'Sunday',
] as const;

/** So long the name of the day alone says which one is meant. */
const namedDaysMs = 6 * 86_400_000;

/** `24 November`. */
export function sayDate(at: number, zone: string): string {
  const { day, month } = dateIn(at, zone);
  return `${day} ${months[month - 1] ?? ''}`;
}

/** `Tuesday`; `5 November` where that is longer ago. */
export function sinceDay(at: number, now: number, zone: string): string {
  if (now - at > namedDaysMs) return sayDate(at, zone);
  return weekdays[dateIn(at, zone).dayOfWeek - 1] ?? '';
}

/** `Tue 24 Nov, 09:14`. */
export function sayMoment(at: number, zone: string): string {
  const { day, month, dayOfWeek } = dateIn(at, zone);
  const weekday = (weekdays[dayOfWeek - 1] ?? '').slice(0, 3);
  const time = localMinute(at, zone).slice(-5);
  return `${weekday} ${day} ${(months[month - 1] ?? '').slice(0, 3)}, ${time}`;
}
