/** How the jobs of a time went: how often one ran, failed, was overdue, or hung. */

import { digestEntriesCountMax, nameCharsMax, runsSummedCountMax } from '../base/limits.ts';
import { cleanText } from '../base/text.ts';
import type { ServiceCard } from '../base/values.ts';
import { counted } from '../base/words.ts';
import type { Record } from '../record/record.ts';
import type { Interval } from '../uptime/intervals.ts';

export interface JobSum {
  readonly jobId: string;
  readonly name: string;
  /** Of which anything is known. */
  readonly runsCount: number;
  /** Runs that ended so. */
  readonly failedCount: number;
  /** Outages that began so. */
  readonly overdueCount: number;
  readonly hangingCount: number;
}

/** In the order of the cards. */
export async function gatherJobs(
  record: Pick<Record, 'runs' | 'outages'>,
  cards: readonly ServiceCard[],
  whole: Interval,
): Promise<readonly JobSum[]> {
  const jobs: JobSum[] = [];
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
    jobs.push({
      ...{ jobId: id, name: cleanText(name, nameCharsMax), runsCount: runs.length },
      ...{ failedCount, overdueCount, hangingCount },
    });
  }
  return jobs;
}

export function isPoor({ failedCount, overdueCount, hangingCount }: JobSum): boolean {
  return failedCount + overdueCount + hangingCount > 0;
}

/** `Jobs: Nightly backup ran 30 times, failed twice; 2 others ran well.` Empty where there are none. */
export function sayJobs(jobs: readonly JobSum[]): string {
  const poor = jobs.filter(isPoor);
  const well = jobs.filter((job) => !isPoor(job) && job.runsCount > 0).length;
  const idle = jobs.length - poor.length - well;
  const rest = poor.length - digestEntriesCountMax;
  const other = poor.length === 0 ? 'job' : 'other';
  const said = [
    ...poor
      .slice(0, digestEntriesCountMax)
      .map((job) => `${job.name} ${sayRuns(job)}, ${sayPoor(job)}`),
    ...(rest > 0 ? [`${counted(rest, 'more', 'more')} did not go well`] : []),
    ...(well > 0 ? [`${counted(well, other)} ran well`] : []),
    ...(idle > 0 ? [`${counted(idle, other)} did not run`] : []),
  ];
  return said.length === 0 ? '' : `Jobs: ${said.join('; ')}.`;
}

/** `failed twice, was overdue once`. */
export function sayPoor({ failedCount, overdueCount, hangingCount }: JobSum): string {
  const said = (how: string, count: number) => (count === 0 ? [] : [`${how} ${times(count)}`]);
  return [
    ...said('failed', failedCount),
    ...said('was overdue', overdueCount),
    ...said('hung', hangingCount),
  ].join(', ');
}

function sayRuns({ runsCount }: JobSum): string {
  return runsCount === 0 ? 'did not run' : `ran ${times(runsCount)}`;
}

function times(count: number): string {
  return ['never', 'once', 'twice'][count] ?? `${count.toLocaleString('en-GB')} times`;
}
