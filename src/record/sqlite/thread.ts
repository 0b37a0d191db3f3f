/**
 * Runs jobs beside the daemon: in a thread that is started when there is work and ended when there was none for a
 * while, so that what it takes in memory is given back. Should it crash or run out of memory, the job has failed and
 * the daemon goes on; the next job gets a new thread.
 */
import { Worker } from 'node:worker_threads';
import type { Alarm, Clock } from '../../base/clock.ts';
import { messageOf, RollcallError } from '../../base/errors.ts';
import { upkeepHeapMbMax } from '../../base/limits.ts';
import { thrownFrom } from './failures.ts';
import { type Batch, doJob, type Job, type JobKind, type Result } from './jobs.ts';
import type { Order, Word } from './worker.ts';

export interface Workshop {
  /**
   * Jobs are done one after the other. `take` is given each batch in turn; the job waits until it is done with it.
   * Rejects with what the job or `take` threw; with `upkeep-failed` where the thread was lost or the workshop is closed.
   */
  run<Kind extends JobKind>(
    job: Extract<Job, { kind: Kind }>,
    take?: (batch: Batch<Kind>) => void | Promise<void>,
  ): Promise<Result<Kind>>;
  /** A running job is cut off. */
  close(): Promise<void>;
}

const idleMs = 10_000;

interface WorkshopGiven {
  /** `thread`: beside the daemon. `inline`: where it is called, for a simulated clock. */
  readonly mode: 'thread' | 'inline';
  readonly clock: Clock;
  /** What the thread runs, in place of `worker.ts`. */
  readonly file?: URL;
}

export function createWorkshop({ mode, clock, file }: WorkshopGiven): Workshop {
  const bench = mode === 'thread' ? threadBench(clock, file ?? workerFile()) : inlineBench;
  let turn: Promise<unknown> = Promise.resolve();
  let closed = false;
  return {
    run: (job, take = () => {}) => {
      const run = turn.then(() => {
        if (closed) throw closedError();
        return bench.run(job, take as Take);
      });
      turn = run.catch(() => {});
      return run as Promise<never>;
    },
    close: async () => {
      closed = true;
      await bench.close();
      await turn;
    },
  };
}

/** Beside this file, and in the same language. */
function workerFile(): URL {
  return new URL(import.meta.url.endsWith('.ts') ? './worker.ts' : './worker.js', import.meta.url);
}

type Take = (batch: Batch) => void | Promise<void>;

interface Bench {
  run(job: Job, take: Take): Promise<Result>;
  close(): Promise<void>;
}

const inlineBench: Bench = {
  run: (job, take) => doJob(job, take),
  close: async () => {},
};

function threadBench(clock: Clock, file: URL): Bench {
  let worker: Worker | null = null;
  let idle: Alarm | null = null;

  const start = (): Worker => {
    const started = new Worker(file, {
      resourceLimits: { maxOldGenerationSizeMb: upkeepHeapMbMax },
    });
    // Without a listener, what goes wrong in it would end the daemon.
    const leave = (): void => {
      if (worker === started) worker = null;
    };
    started.on('error', leave);
    started.on('exit', leave);
    return started;
  };
  const end = async (): Promise<void> => {
    idle?.cancel();
    await worker?.terminate();
  };
  return {
    run: async (job, take) => {
      idle?.cancel();
      worker ??= start();
      try {
        return await done(worker, job, take);
      } finally {
        idle = clock.after(idleMs, () => void end());
      }
    },
    close: end,
  };
}

/** One job through. Where a batch is not taken the thread is ended: the job would wait for ever. */
function done(worker: Worker, job: Job, take: Take): Promise<Result> {
  const order = (next: Order): void => worker.postMessage(next);
  return new Promise<Result>((resolve, reject) => {
    const listeners = {
      message: (word: Word) => {
        if (word.kind === 'done') return settle(() => resolve(word.result));
        if (word.kind === 'failed') return settle(() => reject(thrownFrom(word.failure)));
        Promise.resolve(word.batch)
          .then(take)
          .then(
            () => order({ kind: 'taken' }),
            (thrown: unknown) =>
              settle(() => {
                const refuse = () => reject(thrown);
                worker.terminate().then(refuse, refuse);
              }),
          );
      },
      error: (thrown: unknown) => settle(() => reject(lost(messageOf(thrown), thrown))),
      // 1 is what being ended by us looks like; a crash was an error before.
      exit: (code: number) =>
        settle(() => reject(code === 1 ? closedError() : lost(`it ended with ${code}`))),
    };
    const settle = (act: () => void): void => {
      for (const [event, listener] of Object.entries(listeners)) worker.off(event, listener);
      act();
    };
    for (const [event, listener] of Object.entries(listeners)) worker.on(event, listener);
    order({ kind: 'do', job });
  });
}

function lost(why: string, cause?: unknown): RollcallError {
  return new RollcallError(
    'upkeep-failed',
    `The thread for the record's upkeep was lost: ${why}.`,
    {
      cause,
    },
  );
}

function closedError(): RollcallError {
  return new RollcallError('upkeep-failed', 'The record was closed before its upkeep was done.');
}
