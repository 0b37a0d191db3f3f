/**
 * Runs a command as if it had been started itself: input, output, signals and end go through untouched. Of the output only
 * the end is kept on the way, however much there is.
 */
import { spawn } from 'node:child_process';
import { constants } from 'node:os';
import type { Readable, Writable } from 'node:stream';
import { tailBytesMax } from '../base/limits.ts';

export interface Passed {
  /** As a shell gives it: 128 and the number of the signal where it died of one; 126, 127 where it could not be started. */
  readonly exit: number;
  readonly signal: NodeJS.Signals | null;
  /** Of both outputs together. */
  readonly sizeBytes: number;
  /** The end of both, in the order in which they came. */
  readonly output: Uint8Array;
}

/** Those that somebody may send to end a command, or to tell it something. */
const forwarded = ['SIGTERM', 'SIGINT', 'SIGHUP', 'SIGQUIT', 'SIGUSR1', 'SIGUSR2'] as const;
/** A terminal sends these to all that run in it, also to the command. */
const fromTerminal: readonly string[] = ['SIGINT', 'SIGQUIT'];

/** What a process that stays behind holds open is not waited for once it has been silent for so long. */
const silentMsMax = 2_000;

export async function passThrough(command: readonly string[]): Promise<Passed> {
  const [program = '', ...args] = command;
  const tail = tailKept();
  const child = spawn(program, args, { stdio: ['inherit', 'pipe', 'pipe'] });
  const isAtTerminal = process.stdin.isTTY === true;
  for (const signal of forwarded) {
    process.on(signal, () => {
      if (!(isAtTerminal && fromTerminal.includes(signal))) child.kill(signal);
    });
  }
  const pumps = [
    pump(child.stdout, process.stdout, tail.add),
    pump(child.stderr, process.stderr, tail.add),
  ];
  const ended = await new Promise<Exit | NotStarted>((resolve) => {
    child.on('exit', (code, signal) => resolve({ code, signal }));
    child.on('error', (thrown) => {
      // A signal that could not be sent comes here as well.
      if (child.pid === undefined) resolve({ thrown });
    });
  });
  if ('thrown' in ended) return notStarted(program, ended.thrown);
  await drained(pumps, tail.lastMs);
  const { code, signal } = ended;
  const exit = signal === null ? (code ?? 1) : 128 + constants.signals[signal];
  return { exit, signal, ...tail.kept() };
}

/** Ends this process as the command ended. Call it last: of a signal it dies here. */
export function endAs({ exit, signal }: Pick<Passed, 'exit' | 'signal'>): void {
  process.exitCode = exit;
  // Node begins to debug at this one, where nobody else listens to it.
  if (signal === null || signal === 'SIGUSR1') process.exit(exit);
  for (const one of forwarded) process.removeAllListeners(one);
  process.kill(process.pid, signal);
  // A few are not for dying of here (SIGPIPE): the status says the same.
  setTimeout(() => process.exit(exit), 200);
}

interface Exit {
  readonly code: number | null;
  readonly signal: NodeJS.Signals | null;
}

interface NotStarted {
  readonly thrown: NodeJS.ErrnoException;
}

/** With the words and the status of a shell (POSIX.1-2017, 2.8.2 Exit Status for Commands). */
function notStarted(program: string, { code, message }: NodeJS.ErrnoException): Passed {
  const isMissing = code === 'ENOENT';
  const text = `rollcall: ${program}: ${isMissing ? 'command not found' : message}\n`;
  process.stderr.write(text);
  const output = Buffer.from(text);
  return { exit: isMissing ? 127 : 126, signal: null, sizeBytes: output.length, output };
}

interface Pump {
  readonly isOver: () => boolean;
  readonly over: Promise<void>;
}

/** As fast as the one who reads takes it: what waits is bounded by the pipes. */
function pump(source: Readable, target: Writable, seen: (chunk: Buffer) => void): Pump {
  let isOver = false;
  source.on('data', (chunk: Buffer) => {
    seen(chunk);
    if (target.write(chunk)) return;
    source.pause();
    target.once('drain', () => source.resume());
  });
  // Nobody reads any more: the command is to find out as it would without us.
  target.on('error', () => source.destroy());
  const over = new Promise<void>((resolve) => {
    const done = (): void => {
      isOver = true;
      resolve();
    };
    source.on('error', () => {});
    source.on('close', () => {
      if (target.writable) target.write('', done);
      else done();
    });
  });
  return { isOver: () => isOver, over };
}

/** All that the command wrote has gone on; or what is left is held open by somebody who says nothing. */
async function drained(pumps: readonly Pump[], lastMs: () => number): Promise<void> {
  const all = Promise.all(pumps.map(({ over }) => over));
  const endedMs = performance.now();
  while (pumps.some(({ isOver }) => !isOver())) {
    await Promise.race([all, new Promise((done) => setTimeout(done, 100).unref())]);
    const isBlocked = process.stdout.writableNeedDrain || process.stderr.writableNeedDrain;
    const silentMs = performance.now() - Math.max(endedMs, lastMs());
    if (!isBlocked && silentMs > silentMsMax) return;
  }
}

/** The last bytes of what comes, and how many came. */
function tailKept() {
  const chunks: Buffer[] = [];
  let keptBytes = 0;
  let sizeBytes = 0;
  let lastMs = 0;
  return {
    add: (chunk: Buffer): void => {
      sizeBytes += chunk.length;
      lastMs = performance.now();
      // A copy: a part would hold on to the whole.
      const last = Buffer.from(chunk.subarray(Math.max(chunk.length - tailBytesMax, 0)));
      chunks.push(last);
      keptBytes += last.length;
      for (
        let [first] = chunks;
        first && keptBytes - first.length >= tailBytesMax;
        [first] = chunks
      ) {
        keptBytes -= first.length;
        chunks.shift();
      }
    },
    lastMs: () => lastMs,
    kept: () => {
      const all = Buffer.concat(chunks);
      return { sizeBytes, output: all.subarray(Math.max(all.length - tailBytesMax, 0)) };
    },
  };
}
