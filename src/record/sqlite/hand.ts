/**
 * Somebody who does jobs beside the daemon: a thread, or a process of its own. A process gives all of its memory back when
 * it ends; of a thread some twenty megabytes stay behind for good. A thread dies with the daemon, whatever kills it; a
 * process sees at its next step that nobody is there any more.
 */
import { type ChildProcess, fork } from 'node:child_process';
import { type EventEmitter, once } from 'node:events';
import { fileURLToPath } from 'node:url';
import { Worker } from 'node:worker_threads';
import { upkeepHeapMbMax } from '../../base/limits.ts';
import type { Order } from './worker.ts';

export interface Hand {
  /** `message`, `error`, and `exit` with a code, or null and the signal. */
  readonly emitter: Pick<EventEmitter, 'on' | 'off'>;
  give(order: Order): void;
  /** Resolves when it is gone. */
  end(): Promise<void>;
  /** That it is gone is our doing. */
  isEnded(): boolean;
}

export function threadHand(file: URL): Hand {
  const worker = new Worker(file, { resourceLimits: { maxOldGenerationSizeMb: upkeepHeapMbMax } });
  let ended = false;
  return {
    emitter: worker,
    give: (order) => worker.postMessage(order),
    end: async () => {
      ended = true;
      await worker.terminate();
    },
    isEnded: () => ended,
  };
}

export function processHand(file: URL): Hand {
  const child = fork(fileURLToPath(file), [], {
    // As threads have it: typed arrays stay what they are.
    serialization: 'advanced',
    execArgv: [...process.execArgv, `--max-old-space-size=${upkeepHeapMbMax}`],
    stdio: ['ignore', 'ignore', 'ignore', 'ipc'],
  });
  let ended = false;
  return {
    emitter: child,
    give: (order) => void child.send(order),
    end: async () => {
      ended = true;
      await gone(child);
    },
    isEnded: () => ended,
  };
}

async function gone(child: ChildProcess): Promise<void> {
  if (child.exitCode !== null || child.signalCode !== null) return;
  const exit = once(child, 'exit');
  child.kill('SIGKILL');
  await exit;
}
