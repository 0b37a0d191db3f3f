/** Instants as text and back. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { instantText, parseInstant } from '../../src/base/instants.ts';

test('an instant is written in UTC with milliseconds', () => {
  expect(instantText(0)).toBe('1970-01-01T00:00:00.000Z');
  expect(instantText(1_795_579_200_007)).toBe('2026-11-25T04:00:00.007Z');
});

test('every instant comes back as it was', () => {
  fc.assert(
    fc.property(fc.integer({ min: 0, max: 253_402_300_799_999 }), (at) => {
      expect(parseInstant(instantText(at))).toBe(at);
    }),
  );
});

test.each([
  ['whole seconds', '2026-11-25T04:00:00Z', 1_795_579_200_000],
  ['a day that the month does not have', '2026-02-30T04:00:00Z', null],
  ['29 February outside of a leap year', '2026-02-29T04:00:00Z', null],
  ['29 February in a leap year', '2028-02-29T00:00:00Z', 1_835_395_200_000],
  ['an hour that no day has', '2026-02-28T25:00:00Z', null],
  ['another zone', '2026-11-25T04:00:00+01:00', null],
  ['no zone', '2026-11-25T04:00:00', null],
  ['other words', 'yesterday', null],
])('%s', (_, text, at) => {
  expect(parseInstant(text)).toBe(at);
});
