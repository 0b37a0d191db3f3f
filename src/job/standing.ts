/**
 * How a job stands: from what was agreed, its runs, and since when somebody looks. Pure; what changes only when something
 * is told (the agenda) is worked out once, what the time alone changes at each look.
 *
 * The gravest holds: a run that hangs, a due time that passed without a run, a last run that failed. A run that has only
 * begun takes back none but the second: whether it does better is seen at its end.
 */
import type { JobPlan, JobRun, JobSince, JobStanding, JobState } from '../base/jobs.ts';
import { detailCharsMax } from '../base/limits.ts';
import { meaningOf, type Reason } from '../base/reasons.ts';
import { cleanText } from '../base/text.ts';
import type { Observation } from '../base/values.ts';
import type { WaitedFor } from './due.ts';
import { slowAfterMs, unlike } from './usual.ts';
import {
  sayFailed,
  sayHanging,
  sayOverdue,
  sayRunningSlow,
  sayUnlike,
  sayUnseen,
} from './words.ts';

interface Trouble {
  readonly reason: Reason;
  readonly detail: string;
}

/** A run that nobody heard the end of. */
interface OpenRun {
  readonly beganAt: number;
  readonly limitAt: number;
  /** Not before somebody has looked for a while: its end may have been told to nobody. */
  readonly hangsAt: number;
  readonly slow: { readonly at: number; readonly detail: string } | null;
}

/** What is known until something is told. */
export interface Agenda {
  readonly plan: JobPlan;
  readonly dueAt: number | null;
  readonly overdueAt: number | null;
  readonly lookingAt: number;
  readonly open: readonly OpenRun[];
  /** Of the run that ended last. */
  readonly last: { readonly failed: Trouble | null; readonly unlike: Trouble | null } | null;
}

export interface JobGiven {
  readonly plan: JobPlan;
  readonly waitedFor: WaitedFor;
  readonly since: JobSince;
  /** In any order, of those that ended at one instant the one that counts first; more than the newest few change nothing. */
  readonly runs: readonly JobRun[];
}

export function agendaOf({ plan, waitedFor, since, runs }: JobGiven): Agenda {
  const { lookingAt } = since;
  const dueAt = waitedFor(runs, since);
  return {
    plan,
    dueAt,
    overdueAt: dueAt === null ? null : Math.max(dueAt, lookingAt) + plan.allowMs,
    lookingAt,
    open: openRuns(plan, runs, lookingAt),
    last: lastOf(runs),
  };
}

export function standingAt(agenda: Agenda, now: number): JobStanding {
  const seen = seenAt(agenda, now);
  return {
    state: seen.state,
    dueAt: agenda.dueAt,
    changesAt: changesAfter(agenda, now),
    observation: observed(seen.trouble, now),
  };
}

/** The run without an end that began last, and has not been given up: what an end without the id of a run belongs to. */
export function latestOpen(plan: JobPlan, runs: readonly JobRun[]): JobRun | null {
  let latest: JobRun | null = null;
  for (const run of runs) {
    if (!isOpen(run) || isGivenUp(run, plan, runs)) continue;
    if (latest === null || run.beganAt > (latest.beganAt ?? 0)) latest = run;
  }
  return latest;
}

interface Seen {
  readonly state: JobState;
  readonly trouble: Trouble | null;
}

function seenAt(agenda: Agenda, now: number): Seen {
  return (
    downAt(agenda, now) ??
    unseenAt(agenda, now) ?? {
      state: upStateAt(agenda, now),
      trouble: slowAt(agenda, now) ?? agenda.last?.unlike ?? null,
    }
  );
}

function downAt(
  { plan, open, dueAt, overdueAt, lookingAt, last }: Agenda,
  now: number,
): Seen | null {
  const hanging = open.find(({ hangsAt }) => hangsAt <= now);
  if (hanging) {
    return {
      state: 'hanging',
      trouble: { reason: 'hanging', detail: sayHanging(plan, hanging.beganAt) },
    };
  }
  if (dueAt !== null && overdueAt !== null && overdueAt <= now) {
    return {
      state: 'overdue',
      trouble: { reason: 'overdue', detail: sayOverdue(plan, dueAt, Math.max(dueAt, lookingAt)) },
    };
  }
  return last?.failed ? { state: 'failed', trouble: last.failed } : null;
}

/** A report that should have come while nobody was there for it. */
function unseenAt(agenda: Agenda, now: number): Seen | null {
  const { plan, open, dueAt, overdueAt, lookingAt } = agenda;
  const told = (reportAt: number, judgedAt: number): Trouble => ({
    reason: 'run-unseen',
    detail: sayUnseen(plan, reportAt, judgedAt),
  });
  const late = open.find(({ limitAt }) => limitAt <= now);
  if (late) return { state: 'running', trouble: told(late.limitAt, late.hangsAt) };
  if (dueAt === null || overdueAt === null || dueAt > now || dueAt >= lookingAt) return null;
  return { state: 'due', trouble: told(dueAt, overdueAt) };
}

function upStateAt({ open, dueAt, last }: Agenda, now: number): JobState {
  if (open.length > 0) return 'running';
  return last === null || (dueAt !== null && dueAt <= now) ? 'due' : 'done';
}

function slowAt({ open }: Agenda, now: number): Trouble | null {
  const slow = open.find((run) => run.slow !== null && run.slow.at <= now)?.slow;
  return slow ? { reason: 'run-slow', detail: slow.detail } : null;
}

/** Every instant at which the time alone makes another state of it. */
function changesAfter({ open, dueAt, overdueAt }: Agenda, now: number): number | null {
  const instants = [
    dueAt,
    overdueAt,
    ...open.flatMap(({ limitAt, hangsAt, slow }) => [limitAt, hangsAt, slow?.at ?? null]),
  ].filter((at): at is number => at !== null && at > now);
  return instants.length === 0 ? null : Math.min(...instants);
}

function observed(trouble: Trouble | null, at: number): Observation {
  const nothing = { at, tookUs: 0, phases: {}, facts: {} };
  if (trouble === null) return { ...nothing, outcome: 'answered', trouble: null };
  const { reason } = trouble;
  const { layer, outcome, hint } = meaningOf(reason);
  const detail = cleanText(trouble.detail, detailCharsMax);
  return { ...nothing, outcome, trouble: { layer, reason, detail, hint } };
}

function openRuns(plan: JobPlan, runs: readonly JobRun[], lookingAt: number): readonly OpenRun[] {
  const slow = slowAfterMs(runs);
  return runs
    .filter(isOpen)
    .filter((run) => !isGivenUp(run, plan, runs))
    .map(({ beganAt }) => {
      const limitAt = beganAt + plan.limitMs;
      return {
        beganAt,
        limitAt,
        hangsAt: limitAt < lookingAt ? lookingAt + plan.allowMs : limitAt,
        slow: slow && {
          at: beganAt + slow.ms + 1,
          detail: sayRunningSlow(slow.usualMs, slow.ms),
        },
      };
    })
    .sort((one, other) => one.beganAt - other.beganAt);
}

type Open = JobRun & { readonly beganAt: number; readonly endedAt: null };

function isOpen(run: JobRun): run is Open {
  return run.beganAt !== null && run.endedAt === null;
}

/** Past its limit, and another one that began later has ended well since: nobody waits for its end any more. */
function isGivenUp({ beganAt }: Open, { limitMs }: JobPlan, runs: readonly JobRun[]): boolean {
  return runs.some(
    (other) =>
      other.exit === 0 &&
      other.endedAt !== null &&
      (other.beganAt ?? other.endedAt) > beganAt &&
      other.endedAt >= beganAt + limitMs,
  );
}

function lastOf(runs: readonly JobRun[]): Agenda['last'] {
  let last: (JobRun & { readonly endedAt: number }) | null = null;
  for (const run of runs) {
    const { endedAt } = run;
    if (endedAt !== null && (last === null || endedAt > last.endedAt)) last = { ...run, endedAt };
  }
  if (last === null) return null;
  if (last.exit !== 0) {
    return { failed: { reason: 'run-failed', detail: sayFailed(last) }, unlike: null };
  }
  const { id } = last;
  const found = unlike(
    last,
    runs.filter((run) => run.id !== id),
  );
  if (!found) return { failed: null, unlike: null };
  const reason = found.kind === 'slow' ? 'run-slow' : 'run-unusual';
  return { failed: null, unlike: { reason, detail: sayUnlike(found) } };
}
