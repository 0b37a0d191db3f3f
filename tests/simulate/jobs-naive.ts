/**
 * How a job stands, said in another way than `src/job/` does: no agenda and no library of schedules, but at each minute
 * a look over everything that was due and everything that was told until then.
 */
import type { JobPlan, JobRun, JobState } from '../../src/base/jobs.ts';
import type { Outcome } from '../../src/base/values.ts';

const minuteMs = 60_000;

/**
 * The due times of a job of every day on the clock of a zone, by walking over it minute by minute: the first minute of
 * each date at which the clock shows this time or a later one. So a time that is skipped falls due when the gap ends, and
 * one that comes twice the first time (Debian's cron(8)).
 */
export function dailyDueTimes(
  timeZone: string,
  time: string,
  range: { readonly from: number; readonly to: number },
): number[] {
  const clock = new Intl.DateTimeFormat('sv-SE', {
    timeZone,
    dateStyle: 'short',
    timeStyle: 'short',
  });
  const due: number[] = [];
  let doneDate = '';
  for (let at = range.from; at < range.to; at += minuteMs) {
    const [date = '', shown = ''] = clock.format(at).split(' ');
    if (date === doneDate || shown < time) continue;
    // The first date of the range may have passed its time before it.
    if (doneDate !== '' || shown === time) due.push(at);
    doneDate = date;
  }
  return due;
}

export interface NaiveGiven {
  readonly plan: Pick<JobPlan, 'allowMs' | 'limitMs'>;
  readonly dueTimes: readonly number[];
  /** As far as they were told by now. */
  readonly runs: readonly JobRun[];
  readonly agreedAt: number;
  readonly lookingAt: number;
}

export interface NaiveStanding {
  readonly state: JobState;
  readonly outcome: Outcome;
}

export function naiveStanding(given: NaiveGiven, now: number): NaiveStanding {
  const { plan, runs, lookingAt } = given;
  const open = runs.filter((run) => isWaitedFor(run, plan, runs));
  const limitOf = ({ beganAt }: JobRun) => (beganAt ?? 0) + plan.limitMs;
  const isHanging = open.some((run) => {
    const limitAt = limitOf(run);
    return now >= limitAt && (limitAt >= lookingAt || now >= lookingAt + plan.allowMs);
  });
  if (isHanging) return { state: 'hanging', outcome: 'failed' };

  const missed = given.dueTimes.filter((due) => due <= now && isUnanswered(due, given));
  const deadlineOf = (due: number) => Math.max(due, lookingAt) + plan.allowMs;
  if (missed.some((due) => now >= deadlineOf(due))) return { state: 'overdue', outcome: 'failed' };

  const ended = runs
    .filter(({ endedAt }) => endedAt !== null)
    .sort((one, other) => (one.endedAt ?? 0) - (other.endedAt ?? 0));
  const last = ended.at(-1);
  if (last && last.exit !== 0) return { state: 'failed', outcome: 'failed' };
  if (open.some((run) => now >= limitOf(run))) return { state: 'running', outcome: 'unproven' };
  if (missed.some((due) => due < lookingAt)) return { state: 'due', outcome: 'unproven' };

  const isSlow =
    open.some((run) => isSlowAfter(now - (run.beganAt ?? now), runs)) ||
    (last !== undefined &&
      last.beganAt !== null &&
      isSlowAfter(
        (last.endedAt ?? 0) - last.beganAt,
        runs.filter((run) => run !== last),
      ));
  const outcome = isSlow ? 'limited' : 'answered';
  if (open.length > 0) return { state: 'running', outcome };
  return { state: missed.length > 0 || !last ? 'due' : 'done', outcome };
}

/** Nothing has begun since a minute before, and nothing has ended since. */
function isUnanswered(due: number, { runs, agreedAt }: NaiveGiven): boolean {
  if (due < agreedAt) return false;
  return !runs.some(({ beganAt, endedAt }) => {
    const began = beganAt ?? endedAt ?? Number.NEGATIVE_INFINITY;
    return began >= due - minuteMs || (beganAt !== null && endedAt !== null && endedAt >= due);
  });
}

function isWaitedFor(
  run: JobRun,
  { limitMs }: NaiveGiven['plan'],
  runs: readonly JobRun[],
): boolean {
  if (run.endedAt !== null || run.beganAt === null) return false;
  const limitAt = run.beganAt + limitMs;
  return !runs.some((other) => {
    const began = other.beganAt ?? other.endedAt ?? 0;
    return other.exit === 0 && began > (run.beganAt ?? 0) && (other.endedAt ?? 0) >= limitAt;
  });
}

/** Longer than three times the middle of the last twenty that ended well, and by more than ten seconds. */
function isSlowAfter(tookMs: number, runs: readonly JobRun[]): boolean {
  const took = runs
    .filter(({ exit, beganAt }) => exit === 0 && beganAt !== null)
    .sort((one, other) => (other.endedAt ?? 0) - (one.endedAt ?? 0))
    .slice(0, 20)
    .map(({ beganAt, endedAt }) => (endedAt ?? 0) - (beganAt ?? 0))
    .sort((one, other) => one - other);
  if (took.length < 5) return false;
  const half = took.length / 2;
  const usual = ((took[Math.floor(half)] ?? 0) + (took[Math.ceil(half) - 1] ?? 0)) / 2;
  return tookMs > 3 * usual && tookMs > usual + 10_000;
}
