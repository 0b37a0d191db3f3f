/** The jobs of one configuration, joined to the house: as services that are watched, and as what reports come to. */
import { createHash, randomUUID, timingSafeEqual } from 'node:crypto';
import type { Clock } from './base/clock.ts';
import { jobLookMs } from './base/limits.ts';
import type { Log } from './base/log.ts';
import { type Job, jobCardOf } from './config/resolve-job.ts';
import { Jobs } from './jobs.ts';
import type { Record } from './record/record.ts';
import type { JobsSource } from './serve/jobs-source.ts';
import { type Spool, spoolIn } from './spool.ts';
import type { JobData } from './tell/notice-data.ts';
import type { WatchedService } from './watch.ts';

/** What stands in the place of a probe's settings. */
export interface JobSettings {
  readonly kind: 'job';
  readonly id: string;
}

/** As services are asked: whether a report came is known at once, and one look decides. */
const askingOfJobs = {
  everyMs: jobLookMs,
  confirm: 1,
  recheckMs: 1_000,
  timeoutMs: 1_000,
} as const;

export interface HouseJobs {
  readonly jobs: Jobs;
  readonly spool: Spool;
  readonly watched: readonly WatchedService<JobSettings>[];
  /** For the board and the socket. */
  readonly source: JobsSource;
  /** For notices; null: it is no job. */
  dataOf(id: string): JobData | null;
}

export function houseJobs(given: {
  readonly clock: Clock;
  readonly log: Log;
  readonly record: Record;
  readonly jobs: readonly Job[];
  readonly mask: (text: string) => string;
  /** The data folder. */
  readonly folder: string;
  readonly look: (jobId: string) => void;
}): HouseJobs {
  const byId = new Map(given.jobs.map((job) => [job.id, job]));
  const jobs = new Jobs({ ...given, newId: randomUUID });
  const digests = new Map(
    given.jobs.flatMap(({ id, token }) => (token === null ? [] : [[id, digestOf(token)]])),
  );
  return {
    jobs,
    spool: spoolIn({ ...given, jobs }),
    watched: given.jobs.map(watched),
    source: {
      planOf: (id) => byId.get(id)?.plan ?? null,
      standingOf: (id) => jobs.standingOf(id),
      lastRunOf: (id) => jobs.lastRunOf(id),
      began: (id, report) => jobs.began(id, report),
      ended: (id, report) => jobs.ended(id, report),
      isToken: (id, token) => {
        const known = digests.get(id);
        // Of a job that is not there, or takes no reports, something is compared as well: it takes as long.
        const isSame = timingSafeEqual(known ?? noDigest, digestOf(token));
        return isSame && known !== undefined;
      },
    },
    dataOf: (id) => (byId.has(id) ? { run: runData(jobs, id) } : null),
  };
}

const noDigest = Buffer.alloc(32);

/** Digests are of one length, so that how long it takes to compare them says nothing. */
function digestOf(token: string): Buffer {
  return createHash('sha256').update(token).digest();
}

function runData(jobs: Jobs, id: string): JobData['run'] {
  const run = jobs.lastRunOf(id);
  if (run === null) return null;
  const { beganAt, endedAt, exit, value, unit, tail } = run;
  return { id: run.id, beganAt, endedAt, exit, value, unit, output: tail };
}

function watched(job: Job): WatchedService<JobSettings> {
  const { id, needs, fingerprint } = job;
  return {
    id,
    needs,
    through: [],
    ...askingOfJobs,
    restore: 1,
    // Nobody looked: that proves nothing about the job.
    unanswered: 'unobserved',
    slowMs: null,
    slower: {},
    minGapMs: 0,
    fingerprint,
    probe: { kind: 'job', id },
    card: jobCardOf(job),
  };
}
