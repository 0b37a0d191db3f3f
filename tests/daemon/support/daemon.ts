/** The real process: built, started on a configuration in a temporary folder, talked to over HTTP, ended by its id. */
import { type ChildProcess, spawn } from 'node:child_process';
import { existsSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { createServer } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';

const main = fileURLToPath(new URL('../../../dist/src/cli/main.js', import.meta.url));

/** What `npm start` gives to Node. */
const startFlags = startFlagsIn(
  readFileSync(new URL('../../../package.json', import.meta.url), 'utf8'),
);

function startFlagsIn(packageJson: string): readonly string[] {
  const { scripts } = JSON.parse(packageJson) as { readonly scripts: { readonly start: string } };
  const [, flags] = /node (.*) dist\/src\/cli\/main\.js start$/.exec(scripts.start) ?? [];
  if (flags === undefined) throw new Error(`\`npm start\` does something else: ${scripts.start}`);
  return flags.split(' ');
}

export interface Ended {
  readonly code: number | null;
  readonly signal: NodeJS.Signals | null;
}

/** A process that may not be ready yet, and may never be. */
export interface Launched {
  readonly stdout: () => string;
  readonly ended: Promise<Ended>;
  /** Rejects when it ends before. */
  readonly ready: Promise<Running>;
  signal(signal: NodeJS.Signals): void;
}

export interface Running {
  readonly url: string;
  readonly pid: number;
  readonly stdout: () => string;
  readonly stderr: () => string;
  readonly ended: Promise<Ended>;
  json<T>(path: string): Promise<T>;
  signal(signal: NodeJS.Signals): void;
  /** SIGTERM, and the end. */
  stop(): Promise<Ended>;
}

export interface Place {
  readonly folder: string;
  /** Where the daemon keeps its record. */
  readonly data: string;
  readonly configFile: string;
  readonly port: number;
  /** Services and channels as YAML; the board's address and times that suit a test are put before. */
  configure(yaml: string, defaults?: string, file?: string): void;
  /** `stdout`: a descriptor in place of a pipe. */
  start(environment?: NodeJS.ProcessEnv, stdout?: number): Promise<Running>;
  /** Without waiting until it is there. */
  launch(): Launched;
  /** Without a configuration. */
  startBare(): Promise<Running>;
  run(...args: string[]): Promise<Ended & { stdout: string; stderr: string }>;
  remove(): void;
}

/** Nothing is told to be late: a test machine may have booted a minute ago. */
const quick = 'every: 1s, timeout: 900ms, recheck: 500ms, settle: 0s';

export async function place(): Promise<Place> {
  if (!existsSync(main)) throw new Error(`${main} is not there: npm run build comes first`);
  const folder = mkdtempSync(join(tmpdir(), 'rollcall-daemon-'));
  const configFile = join(folder, 'rollcall.yaml');
  const data = join(folder, 'data');
  const port = await freePort();
  return {
    folder,
    data,
    configFile,
    port,
    configure: (yaml, defaults = quick, file = 'rollcall.yaml') => {
      const board = `board: { title: Fernhill Pottery, listen: "127.0.0.1:${port}", timezone: Europe/Dublin }`;
      writeFileSync(join(folder, file), `${board}\ndefaults: { ${defaults} }\n${yaml}\n`);
    },
    start: (environment, stdout) => launched([configFile, data], environment, stdout).ready,
    launch: () => launched([configFile, data]),
    startBare: () => launched([null, data]).ready,
    run: (...args) => ran(args.includes('--data') ? args : [...args, '--data', data]),
    remove: () => rmSync(folder, { recursive: true, force: true }),
  };
}

function launched(
  [config, data]: [config: string | null, data: string],
  environment: NodeJS.ProcessEnv = {},
  stdoutFd?: number,
): Launched {
  const child = spawn(
    process.execPath,
    [
      ...startFlags,
      main,
      'start',
      ...(config === null ? [] : ['--config', config]),
      '--data',
      data,
    ],
    {
      env: { ...process.env, ...environment },
      stdio: ['ignore', stdoutFd ?? 'pipe', 'pipe'],
    },
  );
  const { stdout, stderr } = collected(child);
  const ended = endOf(child);
  const signal = (name: NodeJS.Signals) => void child.kill(name);
  const running = (url: string): Running => ({
    url,
    pid: child.pid ?? -1,
    stdout,
    stderr,
    ended,
    json: async <T>(path: string) => (await (await fetch(new URL(path, url))).json()) as T,
    signal,
    stop: () => {
      signal('SIGTERM');
      return ended;
    },
  });
  const ready = new Promise<Running>((resolve, reject) => {
    child.stderr?.on('data', () => {
      const match = /The board: (\S+)/.exec(stderr());
      if (match?.[1]) resolve(running(match[1]));
    });
    ended.then(
      ({ code }) => reject(new Error(`the daemon ended with ${code}: ${stderr()}`)),
      reject,
    );
  });
  return { stdout, ended, ready, signal };
}

async function ran(args: string[]): Promise<Ended & { stdout: string; stderr: string }> {
  const child = spawn(process.execPath, [main, ...args], { stdio: ['ignore', 'pipe', 'pipe'] });
  const { stdout, stderr } = collected(child);
  const ended = await endOf(child);
  return { ...ended, stdout: stdout(), stderr: stderr() };
}

function collected(child: ChildProcess): { stdout: () => string; stderr: () => string } {
  let out = '';
  let error = '';
  child.stdout?.on('data', (chunk: Buffer) => {
    out += chunk.toString();
  });
  child.stderr?.on('data', (chunk: Buffer) => {
    error += chunk.toString();
  });
  return { stdout: () => out, stderr: () => error };
}

function endOf(child: ChildProcess): Promise<Ended> {
  return new Promise((resolve, reject) => {
    child.once('error', reject);
    child.once('close', (code, signal) => resolve({ code, signal }));
  });
}

export function freePort(): Promise<number> {
  return new Promise((resolve, reject) => {
    const server = createServer();
    server.once('error', reject);
    server.listen(0, '127.0.0.1', () => {
      const address = server.address();
      server.close(() => resolve(typeof address === 'object' && address ? address.port : 0));
    });
  });
}
