/** What the sum of a week says of its jobs: failed runs, and outages that began overdue or hanging. */
import { expect, test } from 'vitest';
import { digestEntriesCountMax } from '../../src/base/limits.ts';
import type { Reason } from '../../src/base/reasons.ts';
import { gatherJobs, isPoor, sayJobs, sayPoor } from '../../src/report/jobs.ts';
import { memoryRecord } from '../support/record-memory.ts';
import { card, outage as outageAt } from '../support/telling.ts';

const hour = 3_600_000;
const week = { from: 1_000 * hour, to: 1_168 * hour };
const nothing = { observations: [], memories: [], spans: [], unconfirmed: [], notices: [] };

test('runs that failed in it, and outages that began in it', async () => {
  const record = memoryRecord();
  const run = (jobId: string, hours: number, exit: number | null) => ({
    ...{ id: `${jobId}-${hours}`, jobId, beganAt: hours * hour, exit },
    ...{ endedAt: exit === null ? null : hours * hour + 1, value: null, unit: null },
    ...{ sizeBytes: 0, tail: null },
  });
  const outage = (serviceId: string, hours: number, reason: Reason) =>
    outageAt(serviceId, hours * hour, {
      trouble: { layer: 'job', reason, detail: '', hint: '' },
      restoredAt: (hours + 20) * hour,
    });
  await record.commit({
    ...nothing,
    runs: [
      ...[run('backup', 999, 1), run('backup', 1_000, 1), run('backup', 1_024, 0)],
      ...[run('backup', 1_048, 143), run('backup', 1_072, null), run('backup', 1_168, 2)],
      run('import', 1_001, 0),
    ],
    outages: [
      outage('backup', 990, 'overdue'),
      outage('backup', 1_000, 'run-failed'),
      outage('backup', 1_100, 'overdue'),
      outage('tidy', 1_001, 'hanging'),
      outage('shop', 1_001, 'overdue'),
    ],
  });
  const jobs = ['backup', 'import', 'tidy'].map((id) => card(id, { kind: 'job' }));
  const sums = await gatherJobs(record, [...jobs, card('shop')], week);
  const poor = sums.filter(isPoor);
  expect(poor.map((one) => `${one.jobId}: ${sayPoor(one)}`)).toEqual([
    'backup: failed twice, was overdue once',
    'tidy: hung once',
  ]);
  expect(sums.map(({ jobId, runsCount }) => [jobId, runsCount])).toEqual([
    ['backup', 4],
    ['import', 1],
    ['tidy', 0],
  ]);
  expect(sayJobs(sums)).toBe(
    'Jobs: Backup ran 4 times, failed twice, was overdue once; Tidy did not run, hung once; one other ran well.',
  );
});

test('a month of jobs is a sentence, however many there are; and none is none', () => {
  const one = {
    jobId: 'a',
    name: 'A',
    runsCount: 0,
    failedCount: 0,
    overdueCount: 0,
    hangingCount: 0,
  };
  expect(sayJobs([])).toBe('');
  expect(sayJobs([one])).toBe('Jobs: one job did not run.');
  expect(sayJobs([{ ...one, runsCount: 3 }, one])).toBe(
    'Jobs: one job ran well; one job did not run.',
  );
  const many = Array.from({ length: 300 }, () => ({ ...one, failedCount: 1, runsCount: 1 }));
  const text = sayJobs(many);
  expect(text).toContain(`; ${300 - digestEntriesCountMax} more did not go well.`);
  expect(text.match(/A ran once/g)).toHaveLength(digestEntriesCountMax);
});
