/**
 * Runs jobs beside the daemon: in a process or a thread that is started when there is work and ended when there was none
 * for a while, so that what it takes in memory is given back (hand.ts). Should it crash or run out of memory, the job has
 * failed and the daemon goes on; the next job gets a new one.
 */
import type { Alarm, Clock } from '../../base/clock.ts';
import { messageOf, RollcallError } from '../../base/errors.ts';
import { isSource, recordFile } from '../../base/files.ts';
import { thrownFrom } from './failures.ts';
import { type Hand, processHand, threadHand } from './hand.ts';
import { type Batch, doJob, type Job, type JobKind, type Result } from './jobs.ts';
import type { Word } from './worker.ts';

export interface Workshop {
  /**
   * Jobs are done one after the other. `take` is given each batch in turn; the job waits until it is done with it.
   * Rejects with what the job or `take` threw; with `upkeep-failed` where the process or thread was lost or the workshop is closed.
   */
  run<Kind extends JobKind>(
    job: Extract<Job, { kind: Kind }>,
    take?: (batch: Batch<Kind>) => void | Promise<void>,
  ): Promise<Result<Kind>>;
  /** A running job is cut off. */
  close(): Promise<void>;
}

const idleMs = 10_000;

/** Beside the daemon; or where it is called, for a simulated clock. */
type Mode = 'beside' | 'inline';

interface WorkshopGiven {
  readonly mode: Mode;
  readonly clock: Clock;
  /** What runs there, in place of `worker.ts`. */
  readonly file?: URL;
  /** In place of a process, or a thread where that is right. */
  readonly hire?: (file: URL) => Hand;
}

export function createWorkshop({
  mode,
  clock,
  file = workerFile(),
  hire,
}: WorkshopGiven): Workshop {
  const bench = mode === 'inline' ? inlineBench : besideBench(clock, file, hire);
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

/** In the language that this file is in. */
function workerFile(): URL {
  return recordFile(isSource ? 'worker.ts' : 'worker.js');
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

/**
 * Processes, but for one job: the file that takes the place of a damaged record is written by nobody who might live on
 * for a moment when the daemon is killed, and be in the way of the next one.
 */
function besideBench(clock: Clock, file: URL, hire: WorkshopGiven['hire']): Bench {
  const threads = benchOf(clock, () => (hire ?? threadHand)(file));
  const processes = benchOf(clock, () => (hire ?? processHand)(file));
  return {
    run: (job, take) => (job.kind === 'recover' ? threads : processes).run(job, take),
    close: async () => {
      await Promise.all([threads.close(), processes.close()]);
    },
  };
}

function benchOf(clock: Clock, hire: () => Hand): Bench {
  let hand: Hand | null = null;
  let idle: Alarm | null = null;

  const start = (): Hand => {
    const started = hire();
    // Without a listener, what goes wrong in it would end the daemon.
    const leave = (): void => {
      if (hand === started) hand = null;
    };
    started.emitter.on('error', leave);
    started.emitter.on('exit', leave);
    return started;
  };
  const end = async (): Promise<void> => {
    idle?.cancel();
    await hand?.end();
  };
  return {
    run: async (job, take) => {
      idle?.cancel();
      // One that is being ended takes no more work.
      if (hand === null || hand.isEnded()) hand = start();
      try {
        return await done(hand, job, take);
      } finally {
        idle = clock.after(idleMs, () => void end());
      }
    },
    close: end,
  };
}

/** One job through. Where a batch is not taken the hand is ended: the job would wait for ever. */
function done(hand: Hand, job: Job, take: Take): Promise<Result> {
  const { emitter } = hand;
  return new Promise<Result>((resolve, reject) => {
    const listeners = {
      message: (word: Word) => {
        if (word.kind === 'done') return settle(() => resolve(word.result));
        if (word.kind === 'failed') return settle(() => reject(thrownFrom(word.failure)));
        Promise.resolve(word.batch)
          .then(take)
          .then(
            () => hand.give({ kind: 'taken' }),
            (thrown: unknown) =>
              settle(() => {
                const refuse = () => reject(thrown);
                hand.end().then(refuse, refuse);
              }),
          );
      },
      error: (thrown: unknown) => settle(() => reject(lost(messageOf(thrown), thrown))),
      exit: (code: number | null, signal?: string | null) =>
        settle(() => {
          const how = signal ?? `status ${code}`;
          reject(hand.isEnded() ? closedError() : lost(`it ended with ${how}`));
        }),
    };
    const settle = (act: () => void): void => {
      for (const [event, listener] of Object.entries(listeners)) emitter.off(event, listener);
      act();
    };
    for (const [event, listener] of Object.entries(listeners)) emitter.on(event, listener);
    hand.give({ kind: 'do', job });
  });
}

function lost(why: string, cause?: unknown): RollcallError {
  return new RollcallError('upkeep-failed', `Whoever did the record's upkeep was lost: ${why}.`, {
    cause,
  });
}

function closedError(): RollcallError {
  return new RollcallError('upkeep-failed', 'The record was closed before its upkeep was done.');
}
