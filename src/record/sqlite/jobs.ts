/**
 * The housework that takes long, as plain functions: a connection and a job in; batches on the way, if it makes any; a
 * result out. The same function runs beside the daemon, in a process or a thread, or inline under a simulated clock. All that goes in
 * and out is plain data, so that it can cross from one thread to another.
 */
import Database from 'better-sqlite3';
import { type BackupGiven, backup } from './backup.ts';
import { type Recovered, type RecoverGiven, recover } from './recover.ts';
import { knowRowChecksums } from './row-checksums.ts';
import {
  type ChunkBatch,
  type ChunkJob,
  chunkTail,
  type SealBatch,
  type SealJob,
  sealDays,
} from './sealing-jobs.ts';
import { type Verified, verify } from './verify.ts';
import { pageCacheKib } from './volumes.ts';

/** By kind: what it is told, what it hands over on the way, and what comes of it. */
export interface JobTypes {
  readonly verify: { readonly given: object; readonly batch: never; readonly result: Verified };
  readonly backup: {
    readonly given: BackupGiven;
    readonly batch: never;
    readonly result: { readonly sizeBytes: number };
  };
  readonly recover: {
    readonly given: RecoverGiven;
    readonly batch: never;
    readonly result: Recovered;
  };
  readonly chunk: { readonly given: ChunkJob; readonly batch: ChunkBatch; readonly result: object };
  readonly seal: { readonly given: SealJob; readonly batch: SealBatch; readonly result: object };
}

export type JobKind = keyof JobTypes;
type JobOf<Kind extends JobKind> = {
  readonly kind: Kind;
  /** The database that it reads. */
  readonly path: string;
} & JobTypes[Kind]['given'];
export type Job<Kind extends JobKind = JobKind> = { [Each in Kind]: JobOf<Each> }[Kind];
export type Batch<Kind extends JobKind = JobKind> = JobTypes[Kind]['batch'];
export type Result<Kind extends JobKind = JobKind> = JobTypes[Kind]['result'];

/** A generator that yields batches and returns the result. It goes on behind a batch only when that was taken. */
export type Steps<Made, End> = Generator<Made, End, void> | AsyncGenerator<Made, End, void>;

/** The connection is the job's own and read-only; whoever runs the job closes it. What it throws reaches the caller. */
type Work<Kind extends JobKind> = (
  database: Database.Database,
  job: JobOf<Kind>,
) => Steps<Batch<Kind>, Result<Kind>>;

const works: { readonly [Kind in JobKind]: Work<Kind> } = {
  verify,
  backup,
  recover,
  chunk: chunkTail,
  seal: sealDays,
};

/** How long a job waits for a program that holds the file alone. Nobody else waits for it meanwhile. */
const busyMs = 10_000;

/** Does the job where it is called. `take` is given each batch and waited for; what it throws ends the job. */
export async function doJob<Kind extends JobKind>(
  job: JobOf<Kind>,
  take: (batch: Batch<Kind>) => void | Promise<void>,
): Promise<Result<Kind>> {
  const database = new Database(job.path, {
    readonly: true,
    fileMustExist: true,
    timeout: busyMs,
  });
  try {
    // A pragma reads the file, and what is to be recovered may be no database at all.
    if (job.kind !== 'recover') database.pragma(`cache_size = -${pageCacheKib}`);
    knowRowChecksums(database);
    const work: Work<Kind> = works[job.kind];
    const steps = work(database, job);
    for (;;) {
      const step = await steps.next();
      if (step.done) return step.value;
      await take(step.value);
    }
  } finally {
    database.close();
  }
}
