/** The vocabulary of jobs: what was agreed with one, what is known of its runs, how it stands. Values only. */
import type { Observation } from './values.ts';

/** In the words of the owner; `failed`, `overdue` and `hanging` are being down. */
export const jobStates = ['due', 'running', 'done', 'failed', 'overdue', 'hanging'] as const;
export type JobState = (typeof jobStates)[number];

/** When it is due: by a cron schedule on the clock of a zone, or so long after its last run began. */
export type Due =
  | { readonly kind: 'schedule'; readonly schedule: string }
  | { readonly kind: 'every'; readonly everyMs: number };

export interface JobPlan {
  readonly id: string;
  readonly due: Due;
  /** IANA name: of the schedule, and of the times of day in what is said. */
  readonly timezone: string;
  /** Not begun or ended so long after its due time: overdue. */
  readonly allowMs: number;
  /** A run that lasts longer hangs. */
  readonly limitMs: number;
}

/** One run, as far as it was told. At least one of `beganAt` and `endedAt` is known. */
export interface JobRun {
  /** Unique among the runs of its job. */
  readonly id: string;
  readonly jobId: string;
  /** Null: only its end was told. */
  readonly beganAt: number | null;
  /** Null: it runs, as far as anybody knows. */
  readonly endedAt: number | null;
  /** Exit status, 128 and the signal's number where it died of one; null while it runs. */
  readonly exit: number | null;
  /** Of all that it wrote, not of the tail. */
  readonly sizeBytes: number | null;
  /** A number that the job tells of its own work. */
  readonly value: number | null;
  readonly unit: string | null;
  /** The end of what it wrote, cleaned; null: none was told, or it is no longer kept. */
  readonly tail: string | null;
}

/** From when on the due times of a job count. */
export interface JobSince {
  /** Of which due times: another schedule counts from when it was agreed on. */
  readonly fingerprint: string;
  readonly agreedAt: number;
  /** Since when somebody has looked without a gap: what was due before may have been told to nobody. */
  readonly lookingAt: number;
}

/** How a job stands at an instant. */
export interface JobStanding {
  readonly state: JobState;
  /** The due time that is waited for, or was missed; null: none will ever come. */
  readonly dueAt: number | null;
  /** When the state will be another one if nothing is told until then; null: never. */
  readonly changesAt: number | null;
  /** What a probe would have seen. */
  readonly observation: Observation;
}

export interface BeganReport {
  /** Null: a run of no name, which is given one. */
  readonly runId: string | null;
  /** Null: now. */
  readonly at: number | null;
}

export interface EndedReport extends BeganReport {
  /** Where the one who reports knows it himself. */
  readonly beganAt: number | null;
  readonly exit: number;
  readonly value: number | null;
  readonly unit: string | null;
  readonly sizeBytes: number;
  /** The end of what it wrote, as it came. */
  readonly output: Uint8Array;
}

/** What is known of a run now, and whether that is on disk or waits for it. */
export interface RunTaken {
  readonly run: JobRun;
  readonly durable: boolean;
}

/** When it happened, for an order in time. */
export function runAt({ beganAt, endedAt }: Pick<JobRun, 'beganAt' | 'endedAt'>): number {
  return beganAt ?? endedAt ?? 0;
}
