/**
 * The last day of each service by steps, for the roll. It is read from the record once; from then on each answer is counted
 * as it comes, so that a page need not read again what the house has just seen. The same as if all had been read anew.
 */
import type { Clock } from '../base/clock.ts';
import type { Happenings } from '../base/happenings.ts';
import { chartsKeptCountMax } from '../base/limits.ts';
import type { Observation } from '../base/values.ts';
import type { Record as Memoir } from '../record/record.ts';
import { type Step, stepsOf } from '../uptime/quantiles.ts';
import { chartRange, lateMsMax } from './charts.ts';

type Answer = Pick<Observation, 'at' | 'outcome' | 'tookUs'>;

interface Course {
  /** Says of which record it was read. */
  readonly mark: string;
  /** Rejects where it could not be read. */
  readonly read: Promise<void>;
  isRead: boolean;
  /** Those that are over: what could still come late is not among them. */
  steps: readonly Step[];
  /** Where they begin. What came before is given up, and is wanted again where the clock is set back. */
  from: number;
  /** Where they end. */
  until: number;
  /** From there on, in any order. */
  answers: Answer[];
  /** Instants of those that were found in the record: they may be told of yet. */
  found: ReadonlySet<number>;
}

interface CoursesGiven {
  readonly record: Memoir;
  readonly clock: Clock;
  readonly listen: Happenings['listen'];
}

const dayMs = 24 * 3_600_000;

/** Gives the steps of the chart of a day. */
export function dayCourses(
  given: CoursesGiven,
): (serviceId: string, now: number) => Promise<readonly Step[]> {
  const { record, clock } = given;
  const courses = new Map<string, Course>();

  given.listen(({ serviceId, observation }) => {
    const course = courses.get(serviceId);
    if (!course) return;
    const { at, outcome, tookUs } = observation;
    // Too late, or the clock was set back: what is kept is no longer so.
    if (at < course.until) courses.delete(serviceId);
    else if (!course.found.has(at)) course.answers.push({ at, outcome, tookUs });
    if (course.isRead) settle(course, clock.wallMs());
  });

  const begin = (serviceId: string, now: number, mark: string): Course => {
    const course = begun(record, { serviceId, now, mark });
    courses.delete(serviceId);
    courses.set(serviceId, course);
    // Whoever waits for it hears of the failure.
    course.read.catch(() => courses.delete(serviceId));
    const [oldest] = courses.keys();
    if (courses.size > chartsKeptCountMax && oldest !== undefined) courses.delete(oldest);
    return course;
  };

  return async (serviceId, now) => {
    const { from, to, stepMs } = chartRange('day', now);
    const mark = markOf(record);
    const known = courses.get(serviceId);
    const isUsable =
      known?.mark === mark &&
      known.from <= from &&
      known.until > from &&
      known.until <= overUntil(now);
    const course = isUsable ? known : begin(serviceId, now, mark);
    await course.read;
    settle(course, now);
    const { steps, until, answers } = course;
    const last = stepsOf({ observations: answers, from: until, to, stepMs });
    // While it was read, the time may have gone on.
    return [...steps.filter(({ at }) => at >= from && at < to), ...last];
  };
}

/** Where the first step begins in which an answer may still come. */
function overUntil(now: number): number {
  const { from, stepMs } = chartRange('day', now);
  return Math.max(from, Math.floor((now - lateMsMax) / stepMs) * stepMs);
}

/** Changes where the record is another one than it was: it was damaged and replaced, or could not keep all that it was given. */
function markOf(record: Memoir): string {
  const { damage, droppedCount } = record.health();
  return `${droppedCount} ${damage}`;
}

function begun(
  record: Memoir,
  {
    serviceId,
    now,
    mark,
  }: { readonly serviceId: string; readonly now: number; readonly mark: string },
): Course {
  const { from, stepMs } = chartRange('day', now);
  const until = overUntil(now);
  const read = async () => {
    const steps = await record.steps(serviceId, { from, to: until }, stepMs);
    // Further than now: a clock that was set back had been ahead.
    const range = { from: until, to: until + 2 * dayMs };
    const found = await record.observations(serviceId, range);
    course.found = new Set(found.map(({ at }) => at));
    // Of what came meanwhile some was found, and some was not.
    const heard = course.answers.filter(({ at }) => !course.found.has(at));
    course.answers = [
      ...found.map(({ at, outcome, tookUs }) => ({ at, outcome, tookUs })),
      ...heard,
    ];
    course.steps = steps;
    course.isRead = true;
  };
  const course: Course = {
    mark,
    // Not at once: it needs the course.
    read: Promise.resolve().then(read),
    isRead: false,
    steps: [],
    from,
    until,
    answers: [],
    found: new Set(),
  };
  return course;
}

/** Makes steps of the answers that are old enough. */
function settle(course: Course, now: number): void {
  const { from, stepMs } = chartRange('day', now);
  const to = overUntil(now);
  if (to <= course.until) return;
  const { steps, until, answers, found } = course;
  const over = stepsOf({ observations: answers, from: Math.max(from, until), to, stepMs });
  course.steps = [...steps.filter(({ at }) => at >= from), ...over];
  course.from = from;
  course.answers = answers.filter(({ at }) => at >= to);
  course.found = new Set([...found].filter((at) => at >= to));
  course.until = to;
}
