/** `Retry-After` (RFC 9110 §10.2.3): seconds, or an HTTP date in any of its three forms (§5.6.7). */
import { instantText, parseInstant } from '../base/instants.ts';
import { retryAfterMsMax } from '../base/limits.ts';

/**
 * Milliseconds to wait from `now` on; 0 for what is past or negative, at most an hour.
 * Null when the field says nothing that the standard knows.
 */
export function parseRetryAfter(field: string, now: number): number | null {
  const text = field.trim();
  if (/^-?\d{1,15}$/.test(text)) return bounded(Number(text) * 1000);
  const at = parseHttpDate(text, now);
  return at === null ? null : bounded(at - now);
}

function bounded(delayMs: number): number {
  return Math.min(Math.max(delayMs, 0), retryAfterMsMax);
}

const months = 'Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec'.split(' ');
const month = `(?<month>${months.join('|')})`;
const time = '(?<time>\\d{2}:\\d{2}:\\d{2})';
const forms = [
  // Sun, 06 Nov 1994 08:49:37 GMT
  new RegExp(`^[A-Z][a-z]{2}, (?<day>\\d{2}) ${month} (?<year>\\d{4}) ${time} GMT$`),
  // Sunday, 06-Nov-94 08:49:37 GMT (obsolete: RFC 850)
  new RegExp(`^[A-Z][a-z]{5,8}, (?<day>\\d{2})-${month}-(?<year>\\d{2}) ${time} GMT$`),
  // Sun Nov  6 08:49:37 1994 (obsolete: asctime; UTC as well)
  new RegExp(`^[A-Z][a-z]{2} ${month} (?<day>\\d{2}| \\d) ${time} (?<year>\\d{4})$`),
];

/** Milliseconds since the epoch; null when it is no HTTP date. */
function parseHttpDate(text: string, now: number): number | null {
  for (const form of forms) {
    const { day, month, year, time } = form.exec(text)?.groups ?? {};
    if (!day || !month || !year || !time) continue;
    const days = day.trim().padStart(2, '0');
    const monthOfYear = String(months.indexOf(month) + 1).padStart(2, '0');
    return parseInstant(`${fullYear(year, now)}-${monthOfYear}-${days}T${time}Z`);
  }
  return null;
}

/** RFC 9110 §5.6.7: two digits never mean a year more than 50 years ahead, but the latest one before that. */
function fullYear(digits: string, now: number): string {
  if (digits.length === 4) return digits;
  const latest = Number(instantText(now).slice(0, 4)) + 50;
  return String(latest - ((latest - Number(digits)) % 100));
}
