/**
 * Runs a command as if it had been started itself: input, output, signals and end go through untouched. Of the output only
 * the end is kept on the way, however much there is.
 *
 * The streams of this process are never touched through `process.stdin` and its like: those make them non-blocking, for
 * the command and for whoever else has them. And the command gets true pipes, where Node would give it sockets: nothing can
 * open `/dev/stdout` on one, and who writes on after the reader has gone is told another error.
 */
import { spawn, spawnSync } from 'node:child_process';
import {
  closeSync,
  constants as file,
  mkdtempSync,
  openSync,
  rmSync,
  write,
  writeSync,
} from 'node:fs';
import { Socket } from 'node:net';
import { constants, tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Readable } from 'node:stream';
import { isatty } from 'node:tty';
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

/** `more`: of the environment, beside our own. */
export async function passThrough(
  command: readonly string[],
  more: Readonly<Record<string, string>> = {},
): Promise<Passed> {
  const [program = '', ...args] = command;
  const tail = tailKept();
  const pipes = truePipes();
  const child = spawn(program, args, {
    stdio: ['inherit', pipes?.[0].writes ?? 'pipe', pipes?.[1].writes ?? 'pipe'],
    env: { ...process.env, ...more },
  });
  for (const { writes } of pipes ?? []) closeSync(writes);
  const isAtTerminal = isatty(0);
  for (const signal of forwarded) {
    process.on(signal, () => {
      if (!(isAtTerminal && fromTerminal.includes(signal))) child.kill(signal);
    });
  }
  const pumps = [
    pump(pipes?.[0].reads ?? child.stdout, 1, tail.add[0]),
    pump(pipes?.[1].reads ?? child.stderr, 2, tail.add[1]),
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
  // Node begins to debug at that one, where nobody else listens to it.
  if (signal === null || signal === 'SIGUSR1') process.exit(exit);
  for (const one of forwarded) process.removeAllListeners(one);
  process.kill(process.pid, signal);
  // Of a few one does not die here (SIGPIPE): the status says the same.
  setTimeout(() => process.exit(exit), 200);
}

/** A line for people, from us: in between what the command writes. */
export function sayBetween(text: string): void {
  try {
    writeSync(2, text);
  } catch {
    // Nobody reads, or not now.
  }
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
  sayBetween(text);
  const output = Buffer.from(text);
  return { exit: isMissing ? 127 : 126, signal: null, sizeBytes: output.length, output };
}

interface Pipe {
  readonly reads: Readable;
  /** For the command: closed here once it has it. */
  readonly writes: number;
}

/** Node makes none itself: two with names, which they lose at once. Null: that cannot be done here. */
function truePipes(): readonly [Pipe, Pipe] | null {
  let folder: string | null = null;
  try {
    folder = mkdtempSync(join(tmpdir(), 'rollcall-'));
    const paths = [join(folder, 'out'), join(folder, 'err')] as const;
    if (spawnSync('mkfifo', ['-m', '600', ...paths], { stdio: 'ignore' }).status !== 0) return null;
    return [openPipe(paths[0]), openPipe(paths[1])];
  } catch {
    return null;
  } finally {
    if (folder !== null) rmSync(folder, { recursive: true, force: true });
  }
}

function openPipe(path: string): Pipe {
  // The end that is read must not wait for the other one; that then finds it there.
  const reads = openSync(path, file.O_RDONLY | file.O_NONBLOCK);
  const writes = openSync(path, file.O_WRONLY);
  return { reads: new Socket({ fd: reads, readable: true, writable: false }), writes };
}

interface Pump {
  readonly isOver: () => boolean;
  /** Whether it waits for somebody to read. */
  readonly isBlocked: () => boolean;
}

/** As fast as the one who reads takes it: what waits is bounded by the pipes. */
function pump(source: Readable | null, target: number, seen: (chunk: Buffer) => void): Pump {
  let isOver = source === null;
  let isBlocked = false;
  const run = async (from: Readable): Promise<void> => {
    for await (const chunk of from as AsyncIterable<Buffer>) {
      seen(chunk);
      isBlocked = true;
      await written(target, chunk);
      isBlocked = false;
    }
  };
  if (source) {
    // Where nobody reads any more the pipe is closed, and the command finds out as it would without us.
    run(source)
      .catch(() => {})
      .finally(() => {
        isBlocked = false;
        isOver = true;
      })
      .catch(() => {});
  }
  return { isOver: () => isOver, isBlocked: () => isBlocked };
}

/** Blocks a thread of Node's, not this one: signals still come through. Rejects where nobody can read it. */
async function written(target: number, chunk: Buffer): Promise<void> {
  for (let from = 0; from < chunk.length; ) {
    from += await new Promise<number>((resolve, reject) => {
      write(target, chunk, from, chunk.length - from, null, (thrown, count) => {
        if (!thrown) resolve(count);
        // Somebody else has made it non-blocking.
        else if (thrown.code === 'EAGAIN') setTimeout(() => resolve(0), 10);
        else reject(thrown);
      });
    });
  }
}

/** All that the command wrote has gone on; or what is left is held open by somebody who says nothing. */
async function drained(pumps: readonly Pump[], lastMs: () => number): Promise<void> {
  const endedMs = performance.now();
  for (let waitMs = 1; pumps.some(({ isOver }) => !isOver()); waitMs = Math.min(2 * waitMs, 100)) {
    await new Promise((done) => setTimeout(done, waitMs));
    const silentMs = performance.now() - Math.max(endedMs, lastMs());
    if (silentMs > silentMsMax && !pumps.some(({ isBlocked }) => isBlocked())) return;
  }
}

interface Part {
  /** Which it was of all that came. */
  readonly nth: number;
  readonly bytes: Buffer;
}

/** The end of both outputs, in the order in which they came, and how many bytes came. */
function tailKept() {
  const streams = [lastParts(), lastParts()] as const;
  let sizeBytes = 0;
  let count = 0;
  let lastMs = 0;
  const adder =
    ({ add }: (typeof streams)[number]) =>
    (chunk: Buffer): void => {
      sizeBytes += chunk.length;
      count += 1;
      lastMs = performance.now();
      // A copy: a part would hold on to the whole.
      add({ nth: count, bytes: Buffer.from(chunk.subarray(-tailBytesMax)) });
    };
  return {
    add: [adder(streams[0]), adder(streams[1])] as const,
    lastMs: () => lastMs,
    kept: () => {
      const [out, err] = streams;
      // What went wrong must not be pushed out by what was still in the other pipe: each has its half.
      const half = tailBytesMax / 2;
      const errBytes = Math.min(err.bytesCount(), Math.max(half, tailBytesMax - out.bytesCount()));
      const parts = [...out.last(tailBytesMax - errBytes), ...err.last(errBytes)];
      const inOrder = parts.toSorted((one, other) => one.nth - other.nth);
      return { sizeBytes, output: Buffer.concat(inOrder.map(({ bytes }) => bytes)) };
    },
  };
}

/** Of one output the parts that its end lies in. */
function lastParts() {
  const parts: Part[] = [];
  let keptBytes = 0;
  return {
    add: (part: Part): void => {
      parts.push(part);
      keptBytes += part.bytes.length;
      for (
        let [first] = parts;
        first && keptBytes - first.bytes.length >= tailBytesMax;
        [first] = parts
      ) {
        keptBytes -= first.bytes.length;
        parts.shift();
      }
    },
    bytesCount: () => Math.min(keptBytes, tailBytesMax),
    last: (bytesCount: number): readonly Part[] => {
      let over = Math.max(keptBytes - bytesCount, 0);
      return parts.map(({ nth, bytes }) => {
        const cut = Math.min(over, bytes.length);
        over -= cut;
        return { nth, bytes: bytes.subarray(cut) };
      });
    },
  };
}
