/** Which due time a job is waited for at: the first one that no run has answered for. */
import type { JobPlan, JobRun, JobSince } from '../base/jobs.ts';
import { jobEarlyMsMax } from '../base/limits.ts';
import { type Occurrences, occurrencesOf } from '../schedule/occurrences.ts';

/**
 * A due time is answered by a run that began at or after it, or ended after it. One that began a moment before is the one
 * that was due too: clocks differ. Due times from before the schedule was agreed on do not count.
 */
export type WaitedFor = (runs: readonly JobRun[], since: JobSince) => number | null;

/** Compiled once for each plan: reading a schedule takes longer than asking it. */
export function waitedFor({ due, timezone }: JobPlan): WaitedFor {
  if (due.kind === 'every') {
    return (runs, { agreedAt }) => afterPause(signsOf(runs), agreedAt, due.everyMs);
  }
  const occurrences = occurrencesOf(due.schedule, timezone);
  return (runs, { agreedAt }) => bySchedule(occurrences, signsOf(runs), agreedAt);
}

interface Signs {
  /** Of the run that began last; where only an end was told, that. */
  readonly began: number | null;
  /** Of the run that ended last, where its beginning is known too. */
  readonly ended: number | null;
}

function signsOf(runs: readonly JobRun[]): Signs {
  let began: number | null = null;
  let ended: number | null = null;
  for (const { beganAt, endedAt } of runs) {
    const at = beganAt ?? endedAt;
    if (at !== null && (began === null || at > began)) began = at;
    if (beganAt !== null && endedAt !== null && (ended === null || endedAt > ended))
      ended = endedAt;
  }
  return { began, ended };
}

function afterPause({ began, ended }: Signs, agreedAt: number, everyMs: number): number {
  const dueAt = Math.max(began ?? agreedAt, agreedAt) + everyMs;
  return ended !== null && ended >= dueAt ? ended + everyMs : dueAt;
}

function bySchedule(times: Occurrences, { began, ended }: Signs, agreedAt: number): number | null {
  const first =
    began === null || began < agreedAt ? times.next(agreedAt - 1) : afterBeginning(times, began);
  return first !== null && ended !== null && ended >= first ? times.next(ended) : first;
}

/** Not the one that the run was itself meant for: it began as early as that at most. */
function afterBeginning(times: Occurrences, began: number): number | null {
  const next = times.next(began);
  if (next === null) return null;
  const afterNext = times.next(next);
  const earlyMs = Math.min(jobEarlyMsMax, ((afterNext ?? Number.POSITIVE_INFINITY) - next) / 2);
  return next - began <= earlyMs ? afterNext : next;
}
