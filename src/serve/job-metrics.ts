/** What is known of each job, as families of metrics; that it is up or not, and its availability, stand under the services. */
import { type JobState, jobStates } from '../base/jobs.ts';
import type { Board } from './board.ts';
import type { Family } from './openmetrics.ts';

interface Sampled {
  readonly labels: { readonly job: string };
  readonly value: number;
}

export function jobFamilies({ cards, jobs }: Pick<Board, 'cards' | 'jobs'>): Family[] {
  if (!jobs) return [];
  const states: { labels: { job: string }; state: JobState }[] = [];
  const [due, ended, took, exit, value]: Sampled[][] = [[], [], [], [], []];
  for (const { id } of cards.filter((card) => jobs.planOf(card.id))) {
    const add = (to: Sampled[] | undefined, known: number | null) => {
      if (known !== null) to?.push({ labels: { job: id }, value: known });
    };
    const { state, dueAt } = jobs.standingOf(id);
    states.push({ labels: { job: id }, state });
    add(due, dueAt === null ? null : dueAt / 1_000);
    const last = jobs.lastRunOf(id);
    if (!last || last.endedAt === null) continue;
    add(ended, last.endedAt / 1_000);
    add(took, last.beganAt === null ? null : (last.endedAt - last.beganAt) / 1_000);
    add(exit, last.exit);
    add(value, last.value);
  }
  const gauge = (name: string, help: string, samples: readonly Sampled[] = []): Family => ({
    ...{ name, type: 'gauge', help, samples },
    ...(name.endsWith('_seconds') && { unit: 'seconds' }),
  });
  return [
    {
      ...{ name: 'rollcall_job_state', type: 'stateset', samples: states },
      states: jobStates,
      help: 'How a job stands.',
    },
    gauge(
      'rollcall_job_due_timestamp_seconds',
      'The due time of a job that is waited for, or was missed.',
      due,
    ),
    gauge('rollcall_job_last_end_timestamp_seconds', 'When the last run of a job ended.', ended),
    gauge(
      'rollcall_job_last_duration_seconds',
      'How long the last run of a job took, where its beginning is known.',
      took,
    ),
    gauge('rollcall_job_last_exit_status', 'Exit status of the last run of a job.', exit),
    gauge(
      'rollcall_job_last_value',
      'The number that the last run of a job told of its work.',
      value,
    ),
  ];
}
