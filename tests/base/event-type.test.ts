/** What an event of a job is called where it leaves the house. */
import { expect, test } from 'vitest';
import { eventType } from '../../src/base/event-type.ts';

const job = { run: null };
const seen = (reason: string | null) => ({ job, observation: { reason } });

test.each([
  ['rollcall.service.down', seen('run-failed'), 'rollcall.job.failed'],
  ['rollcall.service.down', seen('overdue'), 'rollcall.job.overdue'],
  ['rollcall.service.down', seen('hanging'), 'rollcall.job.hanging'],
  ['rollcall.service.down', seen(null), 'rollcall.job.failed'],
  ['rollcall.service.down', { job }, 'rollcall.job.failed'],
  ['rollcall.service.degraded', seen('run-slow'), 'rollcall.job.slow'],
  ['rollcall.service.up', seen(null), 'rollcall.job.recovered'],
  ['rollcall.service.unsteady', seen('run-failed'), 'rollcall.service.unsteady'],
  ['rollcall.outage.reminder', seen('overdue'), 'rollcall.outage.reminder'],
])('%s of a job that tells %j is %s', (type, data, expected) => {
  expect(eventType(type, data)).toBe(expected);
});

test('that of a service is what it is, whatever its reason', () => {
  expect(eventType('rollcall.service.down', { observation: { reason: 'overdue' } })).toBe(
    'rollcall.service.down',
  );
});
