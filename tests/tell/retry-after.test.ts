/** Retry-After in all its forms (RFC 9110 §10.2.3). */
import { expect, test } from 'vitest';
import { parseInstant } from '../../src/base/instants.ts';
import { parseRetryAfter } from '../../src/tell/retry-after.ts';

/** The instant of the examples in RFC 9110 §5.6.7, and one minute before it. */
const exampleAt = parseInstant('1994-11-06T08:49:37Z') ?? 0;
const before = exampleAt - 60_000;

test.each([
  ['RFC 9110 §10.2.3, example in seconds', '120', 120_000],
  ['nothing to wait', '0', 0],
  ['a negative number counts as none', '-5', 0],
  ['white space around', ' 7 ', 7_000],
  ['more than an hour is an hour', '86400', 3_600_000],
  ['an absurd number is an hour', '999999999999999', 3_600_000],
  ['RFC 9110 §5.6.7, IMF-fixdate', 'Sun, 06 Nov 1994 08:49:37 GMT', 60_000],
  ['RFC 9110 §5.6.7, RFC 850', 'Sunday, 06-Nov-94 08:49:37 GMT', 60_000],
  ['RFC 9110 §5.6.7, asctime', 'Sun Nov  6 08:49:37 1994', 60_000],
  ['a date in the past', 'Sun, 06 Nov 1994 08:00:00 GMT', 0],
  ['a date far ahead', 'Sun, 06 Nov 2094 08:00:00 GMT', 3_600_000],
  ['two digits more than 50 years ahead are in the past', 'Sunday, 06-Nov-50 08:49:37 GMT', 0],
  ['two digits 50 years ahead', 'Sunday, 06-Nov-44 08:49:37 GMT', 3_600_000],
  ['a day that does not exist', 'Sun, 31 Nov 1994 08:49:37 GMT', null],
  ['another zone', 'Sun, 06 Nov 1994 08:49:37 CET', null],
  ['a fraction', '1.5', null],
  ['words', 'soon', null],
  ['nothing', '', null],
])('%s', (_, field, delayMs) => {
  expect(parseRetryAfter(field, before)).toBe(delayMs);
});
