/** A job from the file as written to what the house works with. */
import { formatDuration } from '../base/durations.ts';
import { slug } from '../base/ids.ts';
import type { Due, JobPlan } from '../base/jobs.ts';
import { jobLookMs } from '../base/limits.ts';
import type { ServiceCard } from '../base/values.ts';
import { fingerprintOf } from './fingerprint.ts';
import type { WrittenJob } from './schema.ts';

/** Scheduled work that reports in. */
export interface Job {
  readonly id: string;
  readonly name: string;
  readonly group: string | null;
  readonly open: string | null;
  readonly note: string | null;
  readonly needs: readonly string[];
  /** 0…1 */
  readonly objective: number | null;
  /** Told also in quiet hours. */
  readonly urgent: boolean;
  readonly plan: JobPlan;
  /** Of when it is due: another schedule counts from when it was agreed on. */
  readonly fingerprint: string;
  /** Null: nobody reports over the network. */
  readonly token: string | null;
}

export function resolveJob(job: WrittenJob, boardTimezone: string): Job {
  const id = job.id ?? slug(job.name);
  const timezone = job.timezone ?? boardTimezone;
  const due = dueOf(job);
  return {
    id,
    name: job.name,
    group: job.group ?? null,
    open: job.open ?? null,
    note: job.note ?? null,
    needs: [...new Set(job.needs)],
    objective: job.objective ?? null,
    urgent: job.urgent ?? false,
    plan: { id, due, timezone, allowMs: job.allow, limitMs: job.limit },
    // A pause is as long in every zone.
    fingerprint: fingerprintOf(due.kind === 'schedule' ? { ...due, timezone } : due),
    token: job.token ?? null,
  };
}

/** As a service is known: it is on the roll with the others. */
export function jobCardOf(job: Job): ServiceCard {
  const { id, name, group, open, note, needs, objective, plan } = job;
  return {
    id,
    name,
    group,
    kind: 'job',
    where:
      plan.due.kind === 'schedule'
        ? `${plan.due.schedule} (${plan.timezone})`
        : `every ${formatDuration(plan.due.everyMs)}`,
    open,
    note,
    needs,
    through: [],
    objective,
    everyMs: jobLookMs,
  };
}

function dueOf({ schedule, every }: WrittenJob): Due {
  if (schedule !== undefined) return { kind: 'schedule', schedule };
  return { kind: 'every', everyMs: every ?? 0 };
}
