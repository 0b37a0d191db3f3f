/** Jobs and runs for tests of what is decided about them. */
import type { JobPlan, JobRun, JobSince } from '../../src/base/jobs.ts';
import { waitedFor } from '../../src/job/due.ts';
import { agendaOf, standingAt } from '../../src/job/standing.ts';

export const minuteMs = 60_000;
export const hourMs = 60 * minuteMs;
export const dayMs = 24 * hourMs;

export const at = (text: string): number => Date.parse(text);

export const nightly: JobPlan = {
  id: 'nightly-backup',
  due: { kind: 'schedule', schedule: '15 2 * * *' },
  timezone: 'Europe/Dublin',
  allowMs: 20 * minuteMs,
  limitMs: 3 * hourMs,
};

/** In November Dublin keeps UTC. */
export const agreedAt = at('2026-11-01T12:00Z');
export const since: JobSince = { fingerprint: 'f', agreedAt, lookingAt: agreedAt };

let count = 0;
export function run(given: Partial<JobRun>): JobRun {
  return {
    id: `run-${++count}`,
    jobId: 'nightly-backup',
    beganAt: null,
    endedAt: null,
    exit: null,
    sizeBytes: null,
    value: null,
    unit: null,
    tail: null,
    ...given,
  };
}

/** That ended well, on this night of November at 02:15, after so long. */
export function night(day: number, tookMs = 10 * minuteMs, more: Partial<JobRun> = {}): JobRun {
  const beganAt = at(`2026-11-${String(day).padStart(2, '0')}T02:15:00Z`);
  return run({ beganAt, endedAt: beganAt + tookMs, exit: 0, ...more });
}

export function standing(
  runs: readonly JobRun[],
  now: number,
  more: { readonly plan?: JobPlan; readonly since?: JobSince } = {},
) {
  const plan = more.plan ?? nightly;
  const agenda = agendaOf({ plan, waitedFor: waitedFor(plan), since: more.since ?? since, runs });
  return standingAt(agenda, now);
}
