/** How the jobs of a time went that did not go well: how often one failed, was overdue, or hung. */

import { nameCharsMax, runsSummedCountMax } from '../base/limits.ts';
import { cleanText } from '../base/text.ts';
import type { ServiceCard } from '../base/values.ts';
import type { Record } from '../record/record.ts';
import type { Interval } from '../uptime/intervals.ts';

export interface PoorJob {
  readonly jobId: string;
  readonly name: string;
  /** Runs that ended so. */
  readonly failedCount: number;
  /** Outages that began so. */
  readonly overdueCount: number;
  readonly hangingCount: number;
}

/** In the order of the cards; those only of which there is something to say. */
export async function gatherPoorJobs(
  record: Pick<Record, 'runs' | 'outages'>,
  cards: readonly ServiceCard[],
  whole: Interval,
): Promise<readonly PoorJob[]> {
  const jobs: PoorJob[] = [];
  for (const { id, name } of cards.filter(({ kind }) => kind === 'job')) {
    const runs = await record.runs(id, whole, runsSummedCountMax);
    // Those that touch it: what began before was told in the sum before this one.
    const outages = (await record.outages(id, whole)).filter(
      ({ firstFailedAt }) => firstFailedAt >= whole.from && firstFailedAt < whole.to,
    );
    const of = (reason: 'overdue' | 'hanging') =>
      outages.filter(({ trouble }) => trouble.reason === reason).length;
    const failedCount = runs.filter(({ exit }) => exit !== null && exit !== 0).length;
    const [overdueCount, hangingCount] = [of('overdue'), of('hanging')];
    if (failedCount + overdueCount + hangingCount === 0) continue;
    const said = cleanText(name, nameCharsMax);
    jobs.push({ jobId: id, name: said, failedCount, overdueCount, hangingCount });
  }
  return jobs;
}

/** `failed twice, was overdue once`. */
export function sayPoor({ failedCount, overdueCount, hangingCount }: PoorJob): string {
  const said = (how: string, count: number) => (count === 0 ? [] : [`${how} ${times(count)}`]);
  return [
    ...said('failed', failedCount),
    ...said('was overdue', overdueCount),
    ...said('hung', hangingCount),
  ].join(', ');
}

function times(count: number): string {
  return ['never', 'once', 'twice'][count] ?? `${count.toLocaleString('en-GB')} times`;
}
