/**
 * A real MariaDB (Debian's package mariadb-server) in a temporary folder, on loopback, for as long as a test needs it.
 * It refuses to run as root: then the account `mysql` or `nobody` runs it.
 */
import { type ChildProcess, execFile, execFileSync, spawn, spawnSync } from 'node:child_process';
import { once } from 'node:events';
import { chownSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { promisify } from 'node:util';
import { closedPort } from '../../support/peer.ts';
import { type Account, unprivileged } from './unprivileged.ts';

export const mariadbProgram = '/usr/sbin/mariadbd';

export interface MariadbGiven {
  /** Options besides those for folder, port and size. */
  readonly options?: readonly string[];
  /** Switches TLS on. */
  readonly tls?: { readonly key: string; readonly cert: string };
  /** It looks up the names of its clients, as by default, and then counts what goes wrong; see `mayHideResolver`. */
  readonly resolvesNames?: boolean;
}

export interface Mariadb extends AsyncDisposable {
  readonly port: number;
  /** Everything that it has logged. */
  log(): string;
  /** Resolves when it takes clients. */
  start(): Promise<void>;
  /** Ends it in an orderly way and waits for the end. */
  stop(): Promise<void>;
  /** Stands still like a hung process; its kernel goes on accepting. */
  hang(): void;
  cont(): void;
  /** Resolves when the log holds it; looks only at what comes after `fromChar`. */
  logged(pattern: RegExp, fromChar?: number): Promise<void>;
  /** Runs SQL as root over the server's own socket; rows as lines, columns separated by tabs. */
  sql(text: string): Promise<string>;
}

/**
 * A server that looks names up gets a hosts file and no name server, so that no question leaves this machine: a mount of
 * its own in place of nsswitch.conf(5), which needs the right to have one.
 */
export function mayHideResolver(): boolean {
  return spawnSync('unshare', [...ownMounts(), 'true']).status === 0;
}

function ownMounts(): readonly string[] {
  return process.getuid?.() === 0 ? ['--mount'] : ['--mount', '--map-root-user'];
}

/** A fresh data folder, not started. */
export async function makeMariadb(given: MariadbGiven = {}): Promise<Mariadb> {
  const folder = mkdtempSync(join(tmpdir(), 'rollcall-my-'));
  const account = unprivileged(['mysql', 'nobody']);
  if (account) chownSync(folder, account.uid, account.gid);
  const spawned = { ...account, cwd: folder, env: { PATH: '/usr/bin:/bin', HOME: folder } };
  const path = (name: string) => join(folder, name);
  const own = (name: string, content: string) => {
    writeFileSync(path(name), content, { mode: 0o600 });
    if (account) chownSync(path(name), account.uid, account.gid);
    return path(name);
  };
  const data = ['--no-defaults', `--datadir=${path('data')}`];
  execFileSync(
    'mariadb-install-db',
    [...data, '--auth-root-authentication-method=normal', '--skip-test-db'],
    { ...spawned, stdio: 'pipe' },
  );
  const port = await closedPort();
  const options = [
    ...data,
    `--port=${port}`,
    '--bind-address=127.0.0.1',
    `--socket=${path('socket')}`,
    `--pid-file=${path('pid')}`,
    '--innodb-buffer-pool-size=16M',
    '--innodb-log-file-size=4M',
    ...(given.tls
      ? [
          `--ssl-key=${own('key.pem', given.tls.key)}`,
          `--ssl-cert=${own('cert.pem', given.tls.cert)}`,
        ]
      : []),
    ...(given.resolvesNames ? [] : ['--skip-name-resolve']),
    ...(account ? [] : ['--user=root']),
    ...(given.options ?? []),
  ];
  const program = given.resolvesNames
    ? withoutNameServer(own('nsswitch.conf', 'hosts: files\n'), account)
    : { command: mariadbProgram, args: [], as: account };

  let child: ChildProcess | null = null;
  let log = '';
  const watchers = new Set<() => void>();
  const logged = (pattern: RegExp, fromChar = 0) =>
    new Promise<void>((resolve, reject) => {
      const look = () => {
        if (!pattern.test(log.slice(fromChar))) {
          if (child && child.exitCode === null) return;
          reject(new Error(`MariaDB ended without logging ${pattern}: ${log}`));
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
    if (!child || child.exitCode !== null || child.signalCode !== null) return;
    const ended = once(child, 'exit');
    child.kill('SIGCONT');
    child.kill(signal);
    await ended;
  };

  return {
    port,
    log: () => log,
    start: async () => {
      const fromChar = log.length;
      const started = spawn(program.command, [...program.args, ...options], {
        cwd: folder,
        env: spawned.env,
        ...program.as,
        stdio: ['ignore', 'ignore', 'pipe'],
      });
      child = started;
      started.stderr.setEncoding('utf8').on('data', (chunk: string) => {
        log += chunk;
        told();
      });
      started.once('close', told);
      await logged(/ready for connections/, fromChar);
    },
    stop: () => stop('SIGTERM'),
    hang: () => void child?.kill('SIGSTOP'),
    cont: () => void child?.kill('SIGCONT'),
    logged,
    sql: async (text) => {
      const args = ['--no-defaults', `--socket=${path('socket')}`, '--user=root', '-BNe', text];
      const { stdout } = await promisify(execFile)('mariadb', args, spawned);
      return stdout.trim();
    },
    [Symbol.asyncDispose]: async () => {
      await stop('SIGKILL');
      rmSync(folder, { recursive: true, force: true });
    },
  };
}

/** It mounts as root, perhaps only of a namespace of its own, and then becomes the account that runs the server. */
function withoutNameServer(nsswitch: string, account: Account | null) {
  const mount = 'mount --bind "$0" /etc/nsswitch.conf && exec "$@"';
  const server = account
    ? ['setpriv', `--reuid=${account.uid}`, `--regid=${account.gid}`, '--clear-groups']
    : [];
  return {
    command: 'unshare',
    args: [...ownMounts(), 'sh', '-c', mount, nsswitch, ...server, mariadbProgram],
    as: null,
  };
}
