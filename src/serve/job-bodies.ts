/** Jobs and their runs as the API gives them. */
import { instantText } from '../base/instants.ts';
import type { JobRun } from '../base/jobs.ts';
import type { ServiceCard } from '../base/values.ts';
import type { JobBody, RunBody } from './job-schemas.ts';
import type { JobsSource } from './jobs-source.ts';

/** Null: it is no job. */
export function jobBody(jobs: JobsSource, card: ServiceCard): JobBody | null {
  const plan = jobs.planOf(card.id);
  if (!plan) return null;
  const { state, dueAt, observation } = jobs.standingOf(card.id);
  const last = jobs.lastRunOf(card.id);
  return {
    id: card.id,
    name: card.name,
    group: card.group,
    state,
    due: card.where,
    dueAt: textOrNull(dueAt),
    allowMs: plan.allowMs,
    limitMs: plan.limitMs,
    reason: observation.trouble?.reason ?? null,
    detail: observation.trouble?.detail ?? null,
    last: last && runBody(last),
  };
}

export function runBody(run: JobRun): RunBody {
  const { id, jobId, beganAt, endedAt, exit, sizeBytes, value, unit, tail } = run;
  return {
    id,
    job: jobId,
    beganAt: textOrNull(beganAt),
    endedAt: textOrNull(endedAt),
    exit,
    tookMs: beganAt === null || endedAt === null ? null : endedAt - beganAt,
    sizeBytes,
    value,
    unit,
    output: tail,
  };
}

function textOrNull(at: number | null): string | null {
  return at === null ? null : instantText(at);
}
