/**
 * When something falls due that is written as a cron schedule on the clock of a zone: planned windows, jobs, digests.
 *
 * What happens at the changes of the clock is croner's rule, that of Debian's cron(8): a time of day that is skipped
 * falls due when the gap ends, one that comes twice falls due the first time; what has a wildcard in its minute or hour
 * follows the new time at once. "Interval" jobs of lists (`30 1,2,3 * * *`) run in both passes of a repeated hour.
 */
import { Cron } from 'croner';

export interface Occurrences {
  /** The first one after this instant; null: never again. */
  next(after: number): number | null;
  /** The last one at or before this instant; null: never before. */
  last(atOrBefore: number): number | null;
  /** All in [from, to), in order; at most `countMax`. */
  within(from: number, to: number, countMax: number): readonly number[];
}

/** Five fields (POSIX crontab), in an IANA zone. Throws where they make no schedule: `scheduleComplaint` says why before. */
export function occurrencesOf(schedule: string, timezone: string): Occurrences {
  const cron = new Cron(schedule, { timezone, mode: '5-part', paused: true });
  const next = (after: number) => cron.nextRun(dateOf(after))?.getTime() ?? null;
  return {
    next,
    last: (atOrBefore) => {
      // croner looks strictly before a reference and in whole seconds.
      const [found] = cron.previousRuns(1, dateOf(Math.floor(atOrBefore / 1_000) * 1_000 + 1_000));
      return found?.getTime() ?? null;
    },
    within: (from, to, countMax) => {
      const found: number[] = [];
      for (let at = next(from - 1_000); at !== null && at < to; at = next(at)) {
        if (at >= from) found.push(at);
        if (found.length >= countMax) break;
      }
      return found;
    },
  };
}

/** What is wrong with a schedule, for people; null: nothing. */
export function scheduleComplaint(schedule: string): string | null {
  if (schedule.trim().split(/\s+/).length !== 5) {
    return 'expected five fields: minute, hour, day of the month, month, day of the week, such as "15 2 * * *"';
  }
  try {
    // Any instant will do for the question; four years and a leap day lie after each.
    const next = new Cron(schedule, { mode: '5-part', paused: true }).nextRun(dateOf(0));
    return next === null ? 'this schedule never falls due' : null;
  } catch (thrown) {
    return thrown instanceof Error ? thrown.message.replace(/^Cron\w*: /, '') : String(thrown);
  }
}

function dateOf(at: number) {
  // biome-ignore lint/style/noRestrictedGlobals: croner takes and gives instants in this shape; no clock is read.
  return new Date(at);
}
