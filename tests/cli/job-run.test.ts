/**
 * `rollcall job run` as a process of its own, against the socket's own routes: what goes through it, what is reported, and
 * what becomes of a report that nobody takes.
 */
import { type ChildProcess, spawn } from 'node:child_process';
import { createHash, randomBytes } from 'node:crypto';
import { once } from 'node:events';
import {
  copyFileSync,
  existsSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  rmSync,
  writeFileSync,
} from 'node:fs';
import { createServer } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Readable, Writable } from 'node:stream';
import { fileURLToPath } from 'node:url';
import Fastify, { type FastifyInstance } from 'fastify';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { realClock } from '../../src/base/clock-real.ts';
import type { JobRun } from '../../src/base/jobs.ts';
import { spoolCountMax } from '../../src/base/limits.ts';
import { silentLog } from '../../src/base/log.ts';
import { houseJobs } from '../../src/house-jobs.ts';
import { serveLocalReports } from '../../src/serve/job-reports.ts';
import { jobOf } from '../serve/jobs-scene.ts';
import { childrenOf, highWaterMb } from '../support/processes.ts';
import { type MemoryRecord, memoryRecord } from '../support/record-memory.ts';

const main = fileURLToPath(new URL('../../src/cli/main.ts', import.meta.url));
const loader = new URL('../support/typescript.mjs', import.meta.url).href;
const id = 'nightly-backup';
const always = { from: 0, to: Number.MAX_SAFE_INTEGER };

let root: string;
let folder: string;
let record: MemoryRecord;
let jobs: ReturnType<typeof houseJobs>;
let app: FastifyInstance | null;
const children: ChildProcess[] = [];
beforeEach(async () => {
  root = mkdtempSync(join(tmpdir(), 'rollcall-job-'));
  folder = join(root, 'data');
  mkdirSync(folder);
  writeFileSync(join(folder, 'lock.db'), '');
  record = memoryRecord();
  jobs = houseJobs({
    ...{ clock: realClock(), record, log: silentLog, folder, look: () => {} },
    jobs: [jobOf('Nightly backup', id)],
    mask: (text) => text,
  });
  await jobs.jobs.recall();
  app = null;
});
afterEach(async () => {
  for (const child of children.splice(0)) if (child.exitCode === null) child.kill('SIGKILL');
  await app?.close();
  rmSync(root, { recursive: true, force: true });
});

/** From now on there is a daemon, as far as reports go. */
async function listen(): Promise<void> {
  app = Fastify({ logger: false, forceCloseConnections: true });
  await serveLocalReports(app, jobs.source);
  await app.listen({ path: join(folder, 'rollcall.sock') });
}

interface Started {
  readonly child: ChildProcess & { readonly stdin: Writable; readonly stdout: Readable };
  /** Resolves when it has written this. */
  readonly wrote: (text: string) => Promise<void>;
  readonly ended: Promise<Ended>;
}
interface Ended {
  readonly code: number | null;
  readonly signal: NodeJS.Signals | null;
  readonly out: Buffer;
  readonly err: string;
}

function start(command: readonly string[], job = id, more: NodeJS.ProcessEnv = {}): Started {
  const args = ['--import', loader, main, 'job', 'run', '--data', folder, job, '--', ...command];
  const env = { ...process.env, ...more };
  const child = spawn(process.execPath, args, { stdio: ['pipe', 'pipe', 'pipe'], env });
  children.push(child);
  const out: Buffer[] = [];
  const err: Buffer[] = [];
  child.stdout.on('data', (part: Buffer) => out.push(part));
  child.stderr.on('data', (part: Buffer) => err.push(part));
  return {
    child,
    wrote: async (text) => {
      while (!Buffer.concat(out).toString().includes(text)) await once(child.stdout, 'data');
    },
    ended: once(child, 'close').then(([code, signal]) => ({
      ...{ code, signal },
      out: Buffer.concat(out),
      err: Buffer.concat(err).toString(),
    })),
  };
}

const run = (command: readonly string[], job = id) => {
  const { child, ended } = start(command, job);
  child.stdin.end();
  return ended;
};
const shell = (script: string) => ['sh', '-c', script];
const runs = (): Promise<readonly JobRun[]> => record.runs(id, always, 100);
const stored = () => {
  const spool = join(folder, 'spool');
  return existsSync(spool) ? readdirSync(spool) : [];
};

describe('goes through untouched', () => {
  test('input, both outputs, arguments and the exit status', async () => {
    await listen();
    const { child, ended } = start([
      'sh',
      '-c',
      'cat; printf "%s|" "$@" >&2; exit 7',
      'x',
      '--json',
      'a b',
      '',
    ]);
    child.stdin.end('from the pipe\n');
    expect(await ended).toMatchObject({
      code: 7,
      out: Buffer.from('from the pipe\n'),
      err: '--json|a b||',
    });
    const [reported] = await runs();
    expect(reported).toMatchObject({ exit: 7, sizeBytes: 26 });
    expect(reported?.tail).toMatch(
      /^(from the pipe\n--json\|a b\|\||--json\|a b\|\|from the pipe)$/,
    );
    expect(reported?.beganAt).toBeLessThanOrEqual(reported?.endedAt ?? 0);
  });

  test('bytes of any kind, exactly', async () => {
    const bytes = randomBytes(20_000_003);
    writeFileSync(join(root, 'kiln.bin'), bytes);
    const { out, code } = await run(['cat', join(root, 'kiln.bin')]);
    expect(code).toBe(0);
    const sha = (given: Buffer) => createHash('sha256').update(given).digest('hex');
    expect(sha(out)).toBe(sha(bytes));
  });

  test('a gigabyte, of which only the end is kept', async () => {
    await listen();
    const { child } = start(shell('head -c 1000000000 /dev/zero; echo the end >&2'));
    child.stdin.end();
    let count = 0;
    let parts = 0;
    let memoryMb = 0;
    child.stdout.removeAllListeners('data');
    child.stdout.on('data', (part: Buffer) => {
      count += part.length;
      parts++;
      if (parts % 50 === 0) memoryMb = Math.max(memoryMb, highWaterMb(child.pid ?? 0));
    });
    const [code] = await once(child, 'close');
    expect([code, count]).toEqual([0, 1_000_000_000]);
    expect(memoryMb).toBeGreaterThan(0);
    expect(memoryMb).toBeLessThan(300);
    expect(await runs()).toMatchObject([{ sizeBytes: 1_000_000_008, tail: 'the end' }]);
  });

  test('pipes are pipes: the command may open them anew, and dies of it when nobody reads', async () => {
    await listen();
    expect(await run(shell('echo one >/dev/stdout; echo two >/dev/stderr'))).toMatchObject({
      code: 0,
      out: Buffer.from('one\n'),
      err: 'two\n',
    });
    const { child, ended, wrote } = start(['yes']);
    await wrote('y\n');
    child.stdout.destroy();
    const { code, signal } = await ended;
    // Node cannot die of this one itself: the status says the same.
    expect([code, signal]).toEqual([141, null]);
    expect((await runs())[0]).toMatchObject({ exit: 141 });
  });

  test('a command that is not there, or is none', async () => {
    await listen();
    const absent = await run(['no-such-command']);
    expect(absent).toMatchObject({
      code: 127,
      err: 'rollcall: no-such-command: command not found\n',
    });
    expect((await run(['/etc/passwd'])).code).toBe(126);
    expect((await runs()).map(({ exit }) => exit)).toEqual([126, 127]);
  });

  test('output of a process that it leaves behind is not waited for for ever', async () => {
    await listen();
    expect(await run(shell('sleep 60 & echo started $!'))).toMatchObject({ code: 0 });
    const [reported] = await runs();
    const pid = Number(/\d+/.exec(reported?.tail ?? '')?.[0]);
    process.kill(pid);
  });
});

describe('signals', () => {
  test('reach the command, which ends as it likes', async () => {
    await listen();
    const { child, ended, wrote } = start(
      shell('trap "echo last words; exit 3" TERM; echo ready; while :; do sleep 0.05; done'),
    );
    await wrote('ready');
    child.kill('SIGTERM');
    expect(await ended).toMatchObject({
      code: 3,
      signal: null,
      out: Buffer.from('ready\nlast words\n'),
    });
    expect(await runs()).toMatchObject([{ exit: 3 }]);
  });

  test('of which it dies are died of', async () => {
    await listen();
    const { child, ended, wrote } = start(shell('echo ready; exec sleep 60'));
    await wrote('ready');
    child.kill('SIGHUP');
    expect(await ended).toMatchObject({ code: null, signal: 'SIGHUP' });
    expect(await runs()).toMatchObject([{ exit: 129 }]);
  });

  test('that it ignores do not end it; SIGKILL does', async () => {
    await listen();
    const { child, ended, wrote } = start(
      shell('trap "" TERM; echo $$; while :; do sleep 0.05; done'),
    );
    await wrote('\n');
    child.kill('SIGTERM');
    child.kill('SIGTERM');
    await new Promise((done) => setTimeout(done, 300));
    expect(child.exitCode).toBeNull();
    const [pid] = childrenOf(child.pid ?? 0);
    process.kill(pid ?? 0, 'SIGKILL');
    expect(await ended).toMatchObject({ code: null, signal: 'SIGKILL' });
    expect(await runs()).toMatchObject([{ exit: 137 }]);
  });

  test('come through also while nobody reads', async () => {
    const { child, ended, wrote } = start(['yes']);
    await wrote('y\n');
    child.stdout.pause();
    child.kill('SIGTERM');
    // The rest is read again at the end: what was written is not lost.
    await new Promise((done) => setTimeout(done, 300));
    child.stdout.resume();
    expect(await ended).toMatchObject({ signal: 'SIGTERM' });
  });
});

describe('a number that the command tells of its work', () => {
  const told = async (script: string) => {
    const { err, code } = await run(shell(script));
    const [{ value, unit, tail } = { value: null, unit: null, tail: null }] = await runs();
    return { err, code, value, unit, tail };
  };
  const nothing = { value: null, unit: null };

  test('goes with the report, and stays out of the output', async () => {
    await listen();
    expect(await told('echo copied; echo 9800000000 bytes > "$ROLLCALL_VALUE"')).toEqual({
      ...{ err: '', code: 0, value: 9_800_000_000, unit: 'bytes', tail: 'copied' },
    });
    expect(await told('echo 0.5 > "$ROLLCALL_VALUE"')).toMatchObject({ value: 0.5, unit: null });
  });

  test('is stored with it', async () => {
    await run(shell('echo 48213 slips of paper > "$ROLLCALL_VALUE"; exit 2'));
    await jobs.spool.look();
    expect(await runs()).toMatchObject([{ exit: 2, value: 48_213, unit: 'slips of paper' }]);
  });

  test('is none where something else was left, and the command fails of nothing', async () => {
    await listen();
    const complaint = 'rollcall: what the command wrote into $ROLLCALL_VALUE is no number\n';
    const odd = { ...nothing, code: 5, err: complaint };
    expect(await told('echo many > "$ROLLCALL_VALUE"; exit 5')).toMatchObject(odd);
    expect(await told('echo 1e999 > "$ROLLCALL_VALUE"; exit 5')).toMatchObject(odd);
    expect(await told('head -c 9000 /dev/zero > "$ROLLCALL_VALUE"; exit 5')).toMatchObject(odd);
    const silent = { ...nothing, code: 6, err: '' };
    expect(await told('exit 6')).toMatchObject(silent);
    expect(await told('mkfifo "$ROLLCALL_VALUE"; exit 6')).toMatchObject(silent);
    expect(await told('mkdir "$ROLLCALL_VALUE"; exit 6')).toMatchObject(silent);
    expect(
      await told(
        'cd "$(dirname "$ROLLCALL_VALUE")"; echo 7 > x; ln -s x "$ROLLCALL_VALUE"; exit 6',
      ),
    ).toMatchObject(silent);
  });

  test('has no place where no file can be made', async () => {
    await listen();
    const { child, ended } = start(['sh', '-c', 'echo 7 > "$ROLLCALL_VALUE"; exit 3'], id, {
      TMPDIR: join(root, 'nowhere'),
    });
    child.stdin.end();
    expect(await ended).toMatchObject({ code: 3, err: '' });
    expect((await runs())[0]).toMatchObject(nothing);
  });

  test('leaves nothing behind', async () => {
    const left = () => readdirSync(root).filter((name) => name.startsWith('rollcall-'));
    const { child, ended } = start(shell('echo 7 > "$ROLLCALL_VALUE"; kill -TERM $$'), id, {
      TMPDIR: root,
    });
    child.stdin.end();
    expect(await ended).toMatchObject({ signal: 'SIGTERM' });
    expect(left()).toEqual([]);
  });
});

describe('a report that nobody takes', () => {
  const spool = () => jobs.spool.look();

  test('is stored, and taken in once', async () => {
    expect(await run(shell('echo copied; exit 4'))).toMatchObject({ code: 4, err: '' });
    const [name = ''] = stored();
    expect(stored()).toHaveLength(1);
    copyFileSync(join(folder, 'spool', name), join(root, name));
    await spool();
    expect(stored()).toEqual([]);
    const taken = await runs();
    expect(taken).toMatchObject([{ exit: 4, tail: 'copied', sizeBytes: 7 }]);
    expect(taken[0]?.endedAt).toBeGreaterThanOrEqual(taken[0]?.beganAt ?? Number.NaN);
    copyFileSync(join(root, name), join(folder, 'spool', name));
    await spool();
    expect(await runs()).toEqual(taken);
    expect(stored()).toEqual([]);
  });

  test('of a run that was cut off tells that it began', async () => {
    const { child, wrote, ended } = start(shell('echo ready $$; exec sleep 60'));
    await wrote('ready');
    while (stored().filter((name) => name.endsWith('.json')).length === 0) {
      await new Promise((done) => setTimeout(done, 20));
    }
    const [pid] = childrenOf(child.pid ?? 0);
    child.kill('SIGKILL');
    await ended;
    process.kill(pid ?? 0, 'SIGKILL');
    await spool();
    expect(await runs()).toMatchObject([{ endedAt: null, exit: null }]);
    expect(jobs.source.standingOf(id).state).toBe('running');
  });

  test('of a run that began with a daemon and ended without one belongs to the same run', async () => {
    await listen();
    const { child, ended, wrote } = start(shell('echo ready; read line; echo "$line"'));
    await wrote('ready');
    while ((await runs()).length === 0) await new Promise((done) => setTimeout(done, 20));
    await app?.close();
    app = null;
    child.stdin.end('on\n');
    expect(await ended).toMatchObject({ code: 0, err: '' });
    expect(await runs()).toMatchObject([{ endedAt: null }]);
    await spool();
    expect(await runs()).toMatchObject([{ exit: 0, tail: 'ready\non' }]);
  });

  test('because the daemon hangs, is stored too', async () => {
    const deaf = createServer(() => {});
    deaf.listen(join(folder, 'rollcall.sock'));
    await once(deaf, 'listening');
    expect(await run(shell('exit 0'))).toMatchObject({ code: 0, err: '' });
    expect(stored()).toHaveLength(1);
    deaf.close();
  });

  test('is let go where too many wait, or there is no folder, or no such job: the command runs all the same', async () => {
    mkdirSync(join(folder, 'spool'));
    for (let count = 0; count < spoolCountMax; count++)
      writeFileSync(join(folder, 'spool', `${count}.part`), '');
    const full = await run(shell('echo copied; exit 4'));
    expect(full).toMatchObject({ code: 4, out: Buffer.from('copied\n') });
    expect(full.err).toBe(
      'rollcall: 1000 reports wait for a daemon already: this one is not kept\n',
    );
    rmSync(folder, { recursive: true });
    const nowhere = await run(shell('exit 4'));
    expect(nowhere).toMatchObject({ code: 4 });
    expect(nowhere.err).toMatch(/^rollcall: no daemon was ever here: [^\n]+\n$/);
    expect(existsSync(folder)).toBe(false);
    mkdirSync(folder);
    // A folder of something else.
    expect((await run(shell('exit 4'))).err).toBe(nowhere.err);
    expect(stored()).toEqual([]);
    await listen();
    const unknown = await run(shell('exit 4'), 'nightly-backups');
    expect(unknown).toMatchObject({
      code: 4,
      err: 'rollcall: the running daemon knows no job "nightly-backups"\n',
    });
    expect(stored()).toEqual([]);
  });

  test('of the end takes the place of the beginning, also where too many wait', async () => {
    const { child, ended, wrote } = start(shell('echo ready; read line'));
    await wrote('ready');
    while (!stored().some((name) => name.endsWith('.json')))
      await new Promise((done) => setTimeout(done, 20));
    for (let count = stored().length; count < spoolCountMax; count++)
      writeFileSync(join(folder, 'spool', `${count}.part`), '');
    child.stdin.end('on\n');
    expect(await ended).toMatchObject({ code: 0, err: '' });
    await spool();
    expect(await runs()).toMatchObject([{ exit: 0 }]);
  });

  test('because the disk is full is said in one line, and leaves nothing half written', async () => {
    // No file may grow: as on a full disk, but that it is another error.
    const limited = [
      process.execPath,
      '--import',
      loader,
      main,
      'job',
      'run',
      '--data',
      folder,
      id,
    ];
    const child = spawn('sh', [
      '-c',
      'trap "" XFSZ; ulimit -f 0; exec "$@"',
      'sh',
      ...limited,
      '--',
      'false',
    ]);
    let err = '';
    child.stderr.on('data', (part: Buffer) => {
      err += part.toString();
    });
    expect(await once(child, 'close')).toEqual([1, null]);
    expect(err).toMatch(
      /^rollcall: nobody could be told of this run, and it could not be stored: EFBIG[^\n]*\n$/,
    );
    expect(stored()).toEqual([]);
  });
});
