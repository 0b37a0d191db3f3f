/** What PostgreSQL's error codes mean. Codes: its documentation, appendix A; those marked were seen on 15.18. */
import { expect, test } from 'vitest';
import { sayError, troubleOfError } from '../../src/probe/postgres-refusals.ts';

const error = (code: string, message = 'no') => ({ code, message, detail: '' });
const noEntry = 'no pg_hba.conf entry for host "192.0.2.7", user "rollcall", no encryption';

test.each([
  ['57P03', 'the database system is starting up', 'starting-up'], // seen
  ['57P03', 'the database system is shutting down', 'shutting-down'], // seen
  ['57P03', 'the database system is not yet accepting connections', 'starting-up'],
  ['57P03', 'das Datenbanksystem startet', 'starting-up'],
  ['57P01', 'terminating connection due to administrator command', 'shutting-down'],
  ['57P02', 'terminating connection because of crash', 'shutting-down'],
  ['53300', 'sorry, too many clients already', 'too-many-connections'], // seen
  ['53100', 'could not extend file', 'server-error'],
  ['53200', 'out of memory', 'server-error'],
  ['58030', 'could not read file', 'server-error'],
  ['XX001', 'invalid page', 'server-error'],
  ['55000', 'database is not accepting connections', 'server-error'],
  ['57014', 'canceling statement due to statement timeout', 'server-error'],
  ['', 'could not fork new process for connection', 'server-error'],
  ['ZZZZZ', 'a code that nobody knows', 'server-error'],
  ['28000', noEntry, 'address-refused'], // seen
  ['28000', 'kein pg_hba.conf-Eintrag', 'address-refused'],
])('%s (%s) is %s, with a password or without', (code, message, reason) => {
  for (const withPassword of [false, true]) {
    expect(troubleOfError(error(code, message), withPassword)).toMatchObject({
      reason,
      detail: expect.stringContaining(message),
    });
  }
});

test.each([
  ['28P01', 'password authentication failed'], // seen
  ['28000', 'role "rollcall" does not exist'], // seen
  ['3D000', 'database "shop" does not exist'], // seen
  ['42501', 'permission denied for database'],
  ['08P01', 'no such user'],
  ['0A000', 'unsupported frontend protocol'],
])('%s (%s) is a valid reply, and trouble only where a password was given', (code, message) => {
  expect(troubleOfError(error(code, message), false)).toBeNull();
  expect(troubleOfError(error(code, message), true)).toMatchObject({ reason: 'sign-in-refused' });
});

test("the server's words stand with what it adds, and its code", () => {
  const hot = { code: '57P03', message: 'not now', detail: 'Hot standby mode is disabled.' };
  expect(sayError(hot)).toBe('not now (Hot standby mode is disabled.) [57P03]');
  expect(sayError(error('', 'could not fork'))).toBe('could not fork');
});
