/** A board with jobs at work behind it: reports change their runs, and nothing else moves. */
import { silentLog } from '../../src/base/log.ts';
import type { Job } from '../../src/config/resolve-job.ts';
import { houseJobs } from '../../src/house-jobs.ts';
import type { JobsSource } from '../../src/serve/jobs-source.ts';
import { guarded } from './guarded.ts';
import { hourMs, type Member, minuteMs, type Scene, type SceneOptions, sceneOf } from './scene.ts';

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
