/** What is really so with a service: stays that follow each other without a gap, in the world's own time from 0 on. */
import type { Interval } from '../../src/uptime/intervals.ts';
import type { Chance } from './chance.ts';

/** `poor`: it serves, with reservations. */
export type Condition = 'good' | 'poor' | 'bad';

export interface Stay {
  readonly from: number;
  readonly condition: Condition;
}

/** In order of time, the first from 0; each lasts until the next, the last for ever. No two alike follow each other. */
export type Course = readonly Stay[];

export function courseOf(
  stays: readonly { readonly lastsMs: number; readonly condition: Condition }[],
): Course {
  let from = 0;
  const course: Stay[] = [];
  for (const { lastsMs, condition } of stays) {
    if (course.at(-1)?.condition !== condition) course.push({ from, condition });
    from += lastsMs;
  }
  return course;
}

/** Up and down in turns, each for a time without memory: a two-state Markov process. */
export function markovCourse(
  chance: Chance,
  { lastsMs, upMs, downMs }: { lastsMs: number; upMs: number; downMs: number },
): Course {
  const stays: { lastsMs: number; condition: Condition }[] = [];
  let total = 0;
  // A millisecond at least: instants are whole ones.
  for (let isUp = true; total < lastsMs; isUp = !isUp) {
    const stay = Math.max(1, Math.round(chance.exponential(isUp ? upMs : downMs)));
    stays.push({ lastsMs: stay, condition: isUp ? 'good' : 'bad' });
    total += stay;
  }
  return courseOf(stays);
}

/** Reads a course; quick where instants go forward, as they do in the world. */
export function reader(course: Course): (at: number) => Condition {
  let place = 0;
  return (at) => {
    if (at < (course[place]?.from ?? 0)) place = 0;
    for (let next = course[place + 1]; next && next.from <= at; next = course[place + 1]) place++;
    return course[place]?.condition ?? 'good';
  };
}

/** When it did not serve, up to `end`. */
export function badTimes(course: Course, end: number): readonly Interval[] {
  return course.flatMap(({ from, condition }, place) => {
    const to = Math.min(course[place + 1]?.from ?? end, end);
    return condition === 'bad' && from < to ? [{ from, to }] : [];
  });
}
