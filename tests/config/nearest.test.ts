/** What somebody probably meant: likeness and synonyms. */
import { expect, test } from 'vitest';
import { nearest } from '../../src/config/nearest.ts';
import { likelyKey } from '../../src/config/synonyms.ts';

test('a letter too many, too few, changed or swapped is forgiven', () => {
  const known = ['every', 'timeout', 'confirm'];
  expect(nearest('everry', known)).toBe('every');
  expect(nearest('evry', known)).toBe('every');
  expect(nearest('evary', known)).toBe('every');
  expect(nearest('evrey', known)).toBe('every');
  expect(nearest('tmieotu', known)).toBe('timeout');
});

test('case, spaces, hyphens and underscores do not count', () => {
  expect(nearest('Order Book', ['order-book'])).toBe('order-book');
  expect(nearest('time_out', ['timeout'])).toBe('timeout');
});

test('the nearest wins, of equals the first', () => {
  expect(nearest('warn', ['war', 'warm', 'warn'])).toBe('warn');
  expect(nearest('warx', ['warm', 'warn'])).toBe('warm');
});

test('what is too far away is not suggested, nor is anything for very short or very long words', () => {
  expect(nearest('colour', ['every', 'timeout'])).toBeNull();
  expect(nearest('ip', ['id'])).toBeNull();
  expect(nearest('', ['id'])).toBeNull();
  expect(nearest('e'.repeat(100_000), ['e'.repeat(99_999)])).toBeNull();
});

test('a swap counts as one step: "ab" to "ba", as in the worked examples of optimal string alignment', () => {
  // Known property of the restricted distance (common practice, no source): "ca" to "abc" takes 3, not 2.
  expect(nearest('kilnx', ['klinx'])).toBe('klinx');
  expect(nearest('ca', ['abc'])).toBeNull();
});

test('synonyms stand for the key that is known at this place', () => {
  expect(likelyKey('url', ['name', 'probe'])).toBe('probe');
  expect(likelyKey('url', ['name', 'webhook'])).toBe('webhook');
  expect(likelyKey('dependsOn', ['needs'])).toBe('needs');
  expect(likelyKey('depends-on', ['needs'])).toBe('needs');
  expect(likelyKey('intervall', ['every'])).toBe('every');
  expect(likelyKey('frequency', ['every'])).toBe('every');
  expect(likelyKey('frequency', ['name'])).toBeNull();
});
