/** Names one after the other in a sentence. */
import { expect, test } from 'vitest';
import { listed } from '../../src/base/words.ts';

test.each([
  [[], ''],
  [['A'], 'A'],
  [['A', 'B'], 'A and B'],
  [['A', 'B', 'C'], 'A, B and C'],
  [['A', 'B', 'C', 'D'], 'A, B, C and 1 more'],
  [['A', 'B', 'C', 'D', 'E', 'F'], 'A, B, C and 3 more'],
])('%j reads as "%s"', (names, text) => {
  expect(listed(names, 3)).toBe(text);
});
