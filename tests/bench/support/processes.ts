/** Processes that are measured from outside: what the kernel counts of them. proc(5). */
import { fork } from 'node:child_process';
import { once } from 'node:events';
import { readdirSync, readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';

/** Processor time of all threads so far, in microseconds, to the nanosecond: `schedstat` of each. */
export function cpuUs(pid: number): number {
  const threads = readdirSync(`/proc/${pid}/task`);
  const ns = threads.map((thread) => {
    const [spent = '0'] = readFileSync(`/proc/${pid}/task/${thread}/schedstat`, 'latin1').split(
      ' ',
    );
    return Number(spent);
  });
  return ns.reduce((sum, one) => sum + one, 0) / 1_000;
}

/** Resident memory in MiB. */
export function residentMib(pid: number): number {
  const [, kib] = /^VmRSS:\s+(\d+) kB$/m.exec(readFileSync(`/proc/${pid}/status`, 'latin1')) ?? [];
  return Number(kib) / 1_024;
}

/** Bytes that were handed to the disk so far, whether they are there yet or not. */
export function writtenBytes(pid: number): number {
  const [, bytes] = /^write_bytes: (\d+)$/m.exec(readFileSync(`/proc/${pid}/io`, 'latin1')) ?? [];
  return Number(bytes);
}

export interface Child extends AsyncDisposable {
  readonly pid: number;
  /** What it answers to a message. */
  ask<T>(message: string): Promise<T>;
}

/** A script of this folder, started and, when it has said that it is ready, given. */
export async function started(
  script: string,
  ...args: readonly (string | number)[]
): Promise<Child> {
  const path = fileURLToPath(new URL(`../${script}`, import.meta.url));
  const child = fork(path, args.map(String), {
    execArgv: [],
    stdio: ['ignore', 'ignore', 'inherit', 'ipc'],
  });
  const exit = once(child, 'exit');
  const answers: unknown[] = [];
  let wake = () => {};
  child.on('message', (answer) => {
    answers.push(answer);
    wake();
  });
  const heard = async () => {
    const came = new Promise<void>((resolve) => {
      wake = resolve;
    });
    if (answers.length === 0) await Promise.race([came, exit]);
    if (answers.length === 0) throw new Error(`${script} ended`);
    return answers.shift();
  };
  await heard();
  return {
    pid: child.pid ?? -1,
    ask: async <T>(message: string) => {
      child.send(message);
      return (await heard()) as T;
    },
    [Symbol.asyncDispose]: async () => {
      child.kill();
      await exit;
    },
  };
}

export function pause(ms: number): Promise<void> {
  return new Promise((resolve) => setTimeout(resolve, ms));
}
