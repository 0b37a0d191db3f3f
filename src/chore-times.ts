/** Has the chores done at their times of the UTC day, and in between what failed or was missed. */
import cron from 'node-cron';
import type { Clock } from './base/clock.ts';
import { type Chores, choreTimes } from './chores.ts';

/** After a start the first answers come first. */
const firstLookMs = 30_000;
const inBetween = '*/15 * * * *';

export function keepChoreTimes(chores: Chores, clock: Clock): { stop(): Promise<void> } {
  const look = (): void => void chores.catchUp(clock.wallMs());
  const first = clock.after(firstLookMs, look);
  const patterns = [...Object.values(choreTimes).map(patternOf), inBetween];
  const tasks = patterns.map((pattern) => cron.schedule(pattern, look, { timezone: 'UTC' }));
  return {
    stop: async () => {
      first.cancel();
      chores.stop();
      await Promise.all(tasks.map((task) => task.destroy()));
    },
  };
}

/** `10 2 * * *` for ten past two. */
function patternOf(timeMs: number): string {
  const minutes = timeMs / 60_000;
  return `${minutes % 60} ${Math.floor(minutes / 60)} * * *`;
}
