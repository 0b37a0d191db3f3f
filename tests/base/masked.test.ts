/** A peer that repeats what it was sent must not bring a secret onto the board. */
import { expect, test } from 'vitest';
import { maskedObservation } from '../../src/base/masked.ts';
import { observation } from '../support/observations.ts';

test('texts of an observation are masked, numbers and the rest stay', () => {
  const seen = { ...observation(1, 'failed'), facts: { banner: 'token abcd', port: 5432 } };
  const masked = maskedObservation(
    { ...seen, trouble: seen.trouble && { ...seen.trouble, detail: 'said abcd' } },
    (text) => text.replaceAll('abcd', '••••'),
  );
  expect(masked).toEqual({
    ...seen,
    facts: { banner: 'token ••••', port: 5432 },
    trouble: { ...seen.trouble, detail: 'said ••••' },
  });
});
