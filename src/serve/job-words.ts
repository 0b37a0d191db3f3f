/** Words about jobs and their runs that more than one page says. */
import type { LastProps } from '../../web/props.ts';
import { type JobRun, runAt } from '../base/jobs.ts';
import type { Board } from './board.ts';
import type { JobsSource } from './jobs-source.ts';
import { sayCount, sayLasting } from './zone.ts';

/** `6 services and 2 jobs`; `no service` where there is nothing. */
export function sayMembers(members: readonly { readonly kind: string }[]): string {
  const jobsCount = members.filter(({ kind }) => kind === 'job').length;
  const servicesCount = members.length - jobsCount;
  if (jobsCount === 0) return sayCount(servicesCount, 'service');
  const jobs = sayCount(jobsCount, 'job');
  return servicesCount === 0 ? jobs : `${sayCount(servicesCount, 'service')} and ${jobs}`;
}

/** Beside its state on the roll. */
export function jobRemarks(board: Board, serviceId: string): string[] {
  if (!board.jobs?.planOf(serviceId)) return [];
  const { state, dueAt } = board.jobs.standingOf(serviceId);
  const now = board.clock.wallMs();
  if (state === 'running' || state === 'hanging') return [state];
  const why = state === 'failed' || state === 'overdue' ? [state] : [];
  if (dueAt === null) return [...why, 'never due again'];
  const at = board.zone.moment(dueAt, now).text;
  return [...why, dueAt > now ? `due ${at}` : `was due ${at}`];
}

/** What the pen of a job reads: how long its last run took. Null: none has ended yet. */
export function jobLast(board: Board, jobs: JobsSource, jobId: string): LastProps | null {
  const run = jobs.lastRunOf(jobId);
  if (!run) return null;
  const now = board.clock.wallMs();
  const took = tookOf(run) ?? 'ended';
  const unlike = run.exit === 0 ? null : 'failed';
  return {
    at: board.zone.exact(run.endedAt ?? runAt(run), now),
    took,
    unlike,
    reading: unlike ?? took,
  };
}

/** `ended well after 9 min`. */
export function endWords(run: JobRun): string {
  if (run.endedAt === null) return 'began; its end is not known';
  const took = tookOf(run);
  const after = took === null ? '' : ` after ${took}`;
  return run.exit === 0 ? `ended well${after}` : `failed with status ${run.exit}${after}`;
}

function tookOf({ beganAt, endedAt }: JobRun): string | null {
  return beganAt === null || endedAt === null ? null : sayLasting(endedAt - beganAt);
}
