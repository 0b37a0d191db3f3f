/** What MySQL's error codes mean. Codes: its Error Message Reference; those marked were seen on MariaDB 10.11.19. */
import { expect, test } from 'vitest';
import { troubleOfError } from '../../src/probe/mysql-refusals.ts';

const error = (code: number, message = 'no') =>
  ({ kind: 'error', code, state: '', message }) as const;

test.each([
  [1040, 'too-many-connections', 'failed'], // seen
  [1053, 'shutting-down', 'failed'],
  [1927, 'shutting-down', 'failed'],
  [1129, 'address-blocked', 'limited'], // seen
  [1130, 'address-refused', 'limited'], // seen
  [1041, 'server-error', 'failed'],
  [1135, 'server-error', 'failed'],
  [1021, 'server-error', 'failed'],
  [1203, 'sign-in-refused', 'limited'],
  [1226, 'sign-in-refused', 'limited'], // seen
  [9999, 'server-error', 'failed'],
])('%d is %s, with an account or without', (code, reason) => {
  for (const withAccount of [false, true]) {
    expect(troubleOfError(error(code, 'its own words'), withAccount)).toMatchObject({
      reason,
      detail: `it says “its own words [${code}]”`,
    });
  }
});

test.each([
  1045, // seen
  1698,
  1044, // seen
  1049,
  1043, // seen
  1251,
  1524,
  3159,
  1820, // seen
  1862,
  3118,
  4151, // seen
  3955,
  4106,
])('%d is a valid reply, and trouble only where there is an account', (code) => {
  expect(troubleOfError(error(code), false)).toBeNull();
  expect(troubleOfError(error(code), true)).toMatchObject({ reason: 'sign-in-refused' });
});

test('who is blocked is told the cure', () => {
  expect(troubleOfError(error(1129), false)?.hint).toContain('flush-hosts');
});
