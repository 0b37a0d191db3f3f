/**
 * A real PostgreSQL 15 (Debian's package postgresql-15) in a temporary folder, on loopback, for as long as a test needs it.
 * It refuses to run as root: then the account `postgres` or `nobody` runs it.
 */
import { type ChildProcess, execFile, execFileSync, spawn } from 'node:child_process';
import { once } from 'node:events';
import { appendFileSync, chownSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { promisify } from 'node:util';
import { closedPort } from '../../support/peer.ts';
import { unprivileged } from './unprivileged.ts';

const bin = '/usr/lib/postgresql/15/bin';
export const postgresProgram = join(bin, 'postgres');
const superuserPassword = 'a password of the test';

export interface PostgresGiven {
  /** Lines of postgresql.conf. */
  readonly conf?: readonly string[];
  /** Lines of pg_hba.conf, in place of initdb's (scram-sha-256 for all on loopback). */
  readonly hba?: readonly string[];
  /** Switches TLS on. */
  readonly tls?: { readonly key: string; readonly cert: string };
}

export interface Postgres extends AsyncDisposable {
  readonly port: number;
  /** Everything that it has logged. */
  log(): string;
  /** Starts the server; resolves when it logs `until`, by default that it takes clients. */
  start(until?: RegExp): Promise<void>;
  /** Tells it to end: SIGINT drops its clients, SIGTERM waits for them; the promise waits for the end. */
  stop(signal?: 'SIGINT' | 'SIGTERM'): Promise<void>;
  /** Only tells it. */
  signal(signal: NodeJS.Signals): void;
  /** Stands still like a hung process; its kernel goes on accepting. */
  hang(): void;
  cont(): void;
  /** Resolves when the log holds it; looks only at what comes after `fromChar`. */
  logged(pattern: RegExp, fromChar?: number): Promise<void>;
  /** Appends to postgresql.conf; counts from the next start. */
  configure(lines: readonly string[]): void;
  /** Makes an empty file in the data folder (`recovery.signal`). */
  touch(name: string): void;
  /** Runs SQL as the superuser; what psql prints, without alignment. */
  sql(text: string): Promise<string>;
}

/** A fresh cluster, not started. */
export async function makePostgres(given: PostgresGiven = {}): Promise<Postgres> {
  const folder = mkdtempSync(join(tmpdir(), 'rollcall-pg-'));
  const data = join(folder, 'data');
  const account = unprivileged(['postgres', 'nobody']);
  if (account) chownSync(folder, account.uid, account.gid);
  const port = await closedPort();
  const own = (name: string, content: string) => {
    const path = join(folder, name);
    writeFileSync(path, content, { mode: 0o600 });
    if (account) chownSync(path, account.uid, account.gid);
    return path;
  };
  const options = { ...account, cwd: folder, env: { PATH: '/usr/bin:/bin', LC_ALL: 'C' } };

  const initdb = ['-D', data, '-U', 'postgres', '-A', 'scram-sha-256', '--no-sync', '-E', 'UTF8'];
  execFileSync(
    join(bin, 'initdb'),
    [...initdb, '--locale=C', `--pwfile=${own('pw', superuserPassword)}`],
    { ...options, stdio: 'pipe' },
  );
  const configure = (lines: readonly string[]) =>
    appendFileSync(join(data, 'postgresql.conf'), `${lines.join('\n')}\n`);
  configure([
    "listen_addresses = '127.0.0.1'",
    `port = ${port}`,
    "unix_socket_directories = ''",
    'max_connections = 5',
    'superuser_reserved_connections = 2',
    'max_wal_senders = 0',
    'fsync = off',
    ...(given.conf ?? []),
  ]);
  if (given.hba) writeFileSync(join(data, 'pg_hba.conf'), `${given.hba.join('\n')}\n`);
  if (given.tls) {
    const [key, cert] = [own('key.pem', given.tls.key), own('cert.pem', given.tls.cert)];
    configure(['ssl = on', `ssl_key_file = '${key}'`, `ssl_cert_file = '${cert}'`]);
  }

  let child: ChildProcess | null = null;
  let log = '';
  const watchers = new Set<() => void>();
  const logged = (pattern: RegExp, fromChar = 0) =>
    new Promise<void>((resolve, reject) => {
      const look = () => {
        if (!pattern.test(log.slice(fromChar))) {
          if (child && child.exitCode === null) return;
          reject(new Error(`PostgreSQL ended without logging ${pattern}: ${log}`));
        } else resolve();
        watchers.delete(look);
      };
      watchers.add(look);
      look();
    });
  const told = () => {
    for (const look of [...watchers]) look();
  };
  const stop = async (signal: NodeJS.Signals) => {
    if (!child || child.exitCode !== null) return;
    const ended = once(child, 'exit');
    child.kill('SIGCONT');
    child.kill(signal);
    await ended;
  };

  return {
    port,
    log: () => log,
    start: async (until = /database system is ready to accept (?:read-only )?connections/) => {
      const fromChar = log.length;
      const started = spawn(postgresProgram, ['-D', data], {
        ...options,
        stdio: ['ignore', 'ignore', 'pipe'],
      });
      child = started;
      started.stderr.setEncoding('utf8').on('data', (chunk: string) => {
        log += chunk;
        told();
      });
      started.once('close', told);
      await logged(until, fromChar);
    },
    stop: (signal = 'SIGINT') => stop(signal),
    signal: (signal) => void child?.kill(signal),
    hang: () => void child?.kill('SIGSTOP'),
    cont: () => void child?.kill('SIGCONT'),
    logged,
    configure,
    touch: (name) => {
      const path = join(data, name);
      writeFileSync(path, '');
      if (account) chownSync(path, account.uid, account.gid);
    },
    sql: async (text) => {
      const url = `host=127.0.0.1 port=${port} user=postgres dbname=postgres`;
      const { stdout } = await promisify(execFile)(join(bin, 'psql'), [url, '-XAtqc', text], {
        ...options,
        env: { ...options.env, PGPASSWORD: superuserPassword },
      });
      return stdout.trim();
    },
    [Symbol.asyncDispose]: async () => {
      await stop('SIGQUIT');
      rmSync(folder, { recursive: true, force: true });
    },
  };
}
