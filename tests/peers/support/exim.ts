/**
 * A real mail server, Exim as Debian packages it (exim4-daemon-light), on loopback with a configuration and a spool in a
 * temporary folder. It takes every mail and puts it into files there; nothing is sent on, and no name server is asked.
 */
import { spawn } from 'node:child_process';
import { once } from 'node:events';
import {
  chmodSync,
  existsSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  writeFileSync,
} from 'node:fs';
import { connect } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { closedPort } from '../../support/peer.ts';

export const eximProgram = '/usr/sbin/exim4';

/** It takes its own configuration from root alone. */
export function eximHindrance(): string | null {
  return process.getuid?.() === 0 ? null : 'it reads a configuration of ours only as root';
}

export interface Exim extends AsyncDisposable {
  readonly port: number;
  /** The mails that it has put into files, as they are there. */
  mails(): readonly string[];
}

/** Greets when it resolves. Mails to `refused@…` are refused for good, those to `later@…` for now. */
export async function startExim(): Promise<Exim> {
  const folder = mkdtempSync(join(tmpdir(), 'rollcall-exim-'));
  // Exim's own account delivers, and is not the one that runs the test.
  chmodSync(folder, 0o711);
  for (const name of ['spool', 'log', 'mail']) {
    mkdirSync(join(folder, name));
    chmodSync(join(folder, name), 0o777);
  }
  const port = await closedPort();
  const file = join(folder, 'exim.conf');
  writeFileSync(file, configuration(folder, port), { mode: 0o644 });
  const args = ['-C', file, '-bdf', '-oX', `127.0.0.1:${port}`];
  const child = spawn(eximProgram, args, { stdio: 'ignore' });
  const ended = once(child, 'close');
  while (!(await greets(port))) {
    if (child.exitCode !== null) throw new Error(`Exim ended: ${logIn(folder)}`);
  }
  const inbox = join(folder, 'mail', 'new');
  return {
    port,
    mails: () =>
      existsSync(inbox)
        ? readdirSync(inbox)
            .toSorted()
            .map((name) => readFileSync(join(inbox, name), 'utf8'))
        : [],
    [Symbol.asyncDispose]: async () => {
      child.kill('SIGTERM');
      await ended;
      rmSync(folder, { recursive: true, force: true });
    },
  };
}

/** Exim 4.96 Specification, chapters 6 and 14. */
function configuration(folder: string, port: number): string {
  return `
primary_hostname = mail.fernhill.home.arpa
spool_directory = ${folder}/spool
log_file_path = ${folder}/log/%s
pid_file_path = ${folder}/exim.pid
daemon_smtp_ports = ${port}
local_interfaces = 127.0.0.1
host_lookup =
rfc1413_query_timeout = 0s
tls_advertise_hosts =
acl_smtp_rcpt = rcpt

begin acl
rcpt:
  deny local_parts = refused
       message = no such potter
  defer local_parts = later
       message = come back later
  accept

begin routers
all:
  driver = accept
  transport = files

begin transports
files:
  driver = appendfile
  maildir_format
  directory = ${folder}/mail
  create_directory
  user = Debian-exim
  group = Debian-exim
`;
}

/** RFC 5321 §4.2: 220 opens the session. */
function greets(port: number): Promise<boolean> {
  return new Promise((resolve) => {
    const socket = connect(port, '127.0.0.1');
    socket.once('data', (chunk) => {
      socket.end('QUIT\r\n');
      resolve(String(chunk).startsWith('220'));
    });
    socket.once('error', () => setTimeout(() => resolve(false), 20));
  });
}

function logIn(folder: string): string {
  const file = join(folder, 'log', 'panic');
  return existsSync(file) ? readFileSync(file, 'utf8') : 'no reason given';
}
