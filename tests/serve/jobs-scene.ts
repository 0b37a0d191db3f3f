/** A board with jobs at work behind it: reports change their runs, and nothing else moves. */

import type { JobRun } from '../../src/base/jobs.ts';
import { silentLog } from '../../src/base/log.ts';
import type { Job } from '../../src/config/resolve-job.ts';
import { houseJobs } from '../../src/house-jobs.ts';
import type { JobsSource } from '../../src/serve/jobs-source.ts';
import { guarded } from './guarded.ts';
import {
  hourMs,
  type Member,
  minuteMs,
  now,
  type Scene,
  type SceneOptions,
  sceneOf,
} from './scene.ts';

export const backupToken = 'b4ckup-0123456789abcdef-b4ckup';
const importToken = 'imp0rt-0123456789abcdef-imp0rt';

export function jobOf(name: string, id: string, more: Partial<Job> = {}): Job {
  return {
    ...{
      id,
      name,
      group: 'Night',
      open: null,
      note: null,
      needs: [],
      objective: null,
      urgent: false,
    },
    plan: {
      id,
      due: { kind: 'schedule', schedule: '15 2 * * *' },
      timezone: 'Europe/Dublin',
      allowMs: 20 * minuteMs,
      limitMs: 3 * hourMs,
    },
    fingerprint: id,
    token: backupToken,
    ...more,
  };
}

const backup = jobOf('Nightly backup', 'nightly-backup');
const stock = jobOf('Stock import', 'stock-import', { token: importToken });

const up = [{ state: 'up', agoMs: 5 * hourMs }] as const;
const members: readonly Member[] = [
  { id: 'nas', name: 'NAS', past: up },
  ...[backup, stock].map(({ id, name }): Member => {
    return { id, name, group: 'Night', kind: 'job', where: '15 2 * * * (Europe/Dublin)', past: up };
  }),
];

/** A board that could have jobs. */
export const noJobs: JobsSource = {
  planOf: () => null,
  isToken: () => false,
  lastRunOf: () => null,
  standingOf: () => {
    throw new Error('no job');
  },
  began: () => Promise.reject(new Error('no job')),
  ended: () => Promise.reject(new Error('no job')),
};

const hostileRuns = Array.from({ length: 70 }, (_, index): JobRun => {
  const beganAt = now - (70 - index) * 24 * hourMs;
  const isOpen = index === 69;
  return {
    ...{ id: `run-${index}`, jobId: 'hostile-job', beganAt },
    endedAt: isOpen ? null : beganAt + (1 + (index % 9)) * minuteMs,
    exit: isOpen ? null : index % 11,
    ...{ sizeBytes: 1_000, value: 10 ** (index - 35), unit: 'عربي'.repeat(5) },
    tail: `<script>alert("Rollcall")</script>\n${'w'.repeat(400)}\n\tתנור ${'slip '.repeat(80)}`,
  };
});

/** A job with everything in it that a page must bear: its place on the roll, its runs, and what the board knows of it. */
export const hostileJob: {
  readonly member: Member;
  readonly runs: readonly JobRun[];
  readonly source: JobsSource;
} = {
  member: {
    ...{ id: 'hostile-job', name: `<b>Nightly</b> ${'backup'.repeat(20)}`, kind: 'job' },
    ...{ group: 'Night', where: '15 2 * * * (Europe/Dublin)', past: up },
  },
  runs: hostileRuns,
  source: {
    ...noJobs,
    planOf: (id) => (id === 'hostile-job' ? { ...backup.plan, id } : null),
    standingOf: () => ({
      ...{ state: 'failed', dueAt: now + hourMs, changesAt: null },
      observation: {
        ...{ at: now, outcome: 'answered', tookUs: 0, phases: {}, trouble: null, facts: {} },
      },
    }),
    lastRunOf: () => hostileRuns[68] ?? null,
  },
};

export interface JobsScene {
  readonly scene: Scene;
  /** Ids of jobs that were to be looked at. */
  readonly looked: readonly string[];
}

export async function jobsScene(options: SceneOptions = {}): Promise<JobsScene> {
  const looked: string[] = [];
  let real: JobsSource | null = null;
  const source = (): JobsSource => {
    if (!real) throw new Error('not yet');
    return real;
  };
  const jobs: JobsSource = {
    planOf: (id) => source().planOf(id),
    standingOf: (id) => source().standingOf(id),
    lastRunOf: (id) => source().lastRunOf(id),
    began: (id, report) => source().began(id, report),
    ended: (id, report) => source().ended(id, report),
    isToken: (id, token) => source().isToken(id, token),
  };
  const scene = await sceneOf(members, { access: guarded, answers: false, jobs, ...options });
  const house = houseJobs({
    ...{ clock: scene.clock, record: scene.record, log: silentLog, folder: '/nowhere' },
    jobs: [backup, stock],
    mask: (text) => text,
    look: (id) => void looked.push(id),
  });
  await house.jobs.recall();
  real = house.source;
  return { scene, looked };
}
