/** The other end of a hand, thread or process: takes one job at a time, hands batches over one by one, and says what came of it. */
import { constants, setPriority } from 'node:os';
import { parentPort } from 'node:worker_threads';
import { type Failure, failureOf } from './failures.ts';
import { type Batch, doJob, type Job, type Result } from './jobs.ts';

/** To it: a job; or, after a batch, that it was taken. */
export type Order = { readonly kind: 'do'; readonly job: Job } | { readonly kind: 'taken' };

/** From it. */
export type Word =
  | { readonly kind: 'batch'; readonly batch: Batch }
  | { readonly kind: 'done'; readonly result: Result }
  | { readonly kind: 'failed'; readonly failure: Failure };

const say = (word: Word): void => {
  if (parentPort) parentPort.postMessage(word);
  else process.send?.(word);
};
const hear = (listener: (order: Order) => void): void => {
  if (parentPort) parentPort.on('message', listener);
  else process.on('message', listener);
};
// A process whose daemon is gone works for nobody.
if (!parentPort) process.on('disconnect', () => process.exit());

// Where there is one core, the watch comes first. On Linux the nice value is a thread's own (setpriority(2), "C library/
// kernel differences"); elsewhere it would be that of the whole daemon.
if (process.platform === 'linux') setPriority(0, constants.priority.PRIORITY_BELOW_NORMAL);

let taken: () => void = () => {};

hear((order) => {
  if (order.kind === 'taken') return taken();
  doJob(order.job, (batch) => {
    const wait = new Promise<void>((resolve) => {
      taken = resolve;
    });
    say({ kind: 'batch', batch });
    return wait;
  }).then(
    (result) => say({ kind: 'done', result }),
    (thrown: unknown) => say({ kind: 'failed', failure: failureOf(thrown) }),
  );
});
