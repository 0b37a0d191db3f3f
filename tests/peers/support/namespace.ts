/**
 * A network namespace for a real server, tied to this machine by a pair of virtual cables, so that no port is shared and no
 * packet leaves. Addresses are of 198.18.0.0/15, which RFC 2544 set aside for tests.
 */
import { type ChildProcess, execFileSync, spawn } from 'node:child_process';
import { once } from 'node:events';
import { existsSync, mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

/** Why nothing can be run in a namespace here; null when it can. Servers of VPNs need a tun device as well. */
export function namespaceHindrance(): string | null {
  if (process.getuid?.() !== 0) return 'network namespaces need root';
  if (!existsSync('/dev/net/tun')) {
    try {
      // The device's numbers are fixed: Documentation/admin-guide/devices.txt of Linux.
      execFileSync('sh', ['-c', 'mkdir -p /dev/net && mknod /dev/net/tun c 10 200'], {
        stdio: 'pipe',
      });
    } catch {
      return 'there is no /dev/net/tun';
    }
  }
  const name = `rcs${process.pid}try`;
  try {
    execFileSync('ip', ['netns', 'add', name], { stdio: 'pipe' });
    execFileSync('ip', ['netns', 'delete', name], { stdio: 'pipe' });
    return null;
  } catch {
    return 'network namespaces cannot be made';
  }
}

let made = 0;

export interface Namespace extends AsyncDisposable {
  readonly name: string;
  /** Of the server's end of the cable. */
  readonly address: string;
  /** Gone with the namespace. */
  readonly folder: string;
  /** Runs a program to its end inside, and gives its output; throws when it fails. */
  run(program: string, ...args: readonly string[]): string;
  /** Starts a program inside. It is ended with the namespace. */
  start(program: string, args: readonly string[], environment?: NodeJS.ProcessEnv): ChildProcess;
  /** What a file in the folder holds; empty while it is not there. */
  read(file: string): string;
  /** UDP or TCP ports that something is bound to inside. */
  boundPorts(proto: 'udp' | 'tcp'): readonly number[];
}

export function makeNamespace(): Namespace {
  made += 1;
  const name = `rcs${process.pid}n${made}`;
  const { here, there } = addresses();
  const folder = mkdtempSync(join(tmpdir(), 'rollcall-ns-'));
  const children: ChildProcess[] = [];
  const ip = (...args: readonly string[]) => void execFileSync('ip', args, { stdio: 'pipe' });
  const inside = (...args: readonly string[]) => ip('-n', name, ...args);
  const run = (program: string, ...args: readonly string[]) =>
    execFileSync('ip', ['netns', 'exec', name, program, ...args], {
      encoding: 'utf8',
      stdio: 'pipe',
    });
  const end = async () => {
    for (const child of children) await ended(child);
    // The cables go with the namespace.
    ip('netns', 'delete', name);
    rmSync(folder, { recursive: true });
  };

  ip('netns', 'add', name);
  const [cable, innerCable] = [`${name}a`, `${name}b`];
  ip('link', 'add', cable, 'type', 'veth', 'peer', 'name', innerCable, 'netns', name);
  ip('address', 'add', `${here}/30`, 'dev', cable);
  ip('link', 'set', cable, 'up');
  inside('address', 'add', `${there}/30`, 'dev', innerCable);
  inside('link', 'set', 'lo', 'up');
  inside('link', 'set', innerCable, 'up');

  return {
    name,
    address: there,
    folder,
    run,
    start: (program, args, environment = {}) => {
      // `ip netns exec` becomes the program: its process id is the program's own.
      const child = spawn('ip', ['netns', 'exec', name, program, ...args], {
        cwd: folder,
        env: { ...process.env, ...environment },
        stdio: 'ignore',
      });
      children.push(child);
      return child;
    },
    read: (file) => {
      const path = join(folder, file);
      return existsSync(path) ? readFileSync(path, 'utf8') : '';
    },
    boundPorts: (proto) => portsIn(run('cat', `/proc/net/${proto}`)),
    [Symbol.asyncDispose]: end,
  };
}

/** Ends a program that was started, and waits until it is gone. */
export async function ended(child: ChildProcess): Promise<void> {
  if (child.exitCode !== null || child.signalCode !== null) return;
  const exit = once(child, 'exit');
  child.kill('SIGTERM');
  const alarm = setTimeout(() => child.kill('SIGKILL'), 5_000);
  await exit;
  clearTimeout(alarm);
}

export async function until(isSo: () => boolean, what: string): Promise<void> {
  const late = Date.now() + 10_000;
  while (!isSo()) {
    if (Date.now() > late) throw new Error(`${what} did not come true in 10 s`);
    await new Promise((resolve) => setTimeout(resolve, 10));
  }
}

/** Local addresses stand in the second column, the port in hex behind a colon (proc(5)). */
function portsIn(table: string): readonly number[] {
  const lines = table.trim().split('\n').slice(1);
  return lines.map((line) => Number.parseInt(line.trim().split(/\s+/)[1]?.split(':')[1] ?? '', 16));
}

/** A net of two addresses, another one for each process and namespace; not those of the WireGuard servers. */
function addresses(): { readonly here: string; readonly there: string } {
  const net = (process.pid * 32 + made + 8) % 2 ** 15;
  const at = (place: number) => {
    const last = net * 4 + place;
    return `198.${18 + (last >> 16)}.${(last >> 8) & 0xff}.${last & 0xff}`;
  };
  return { here: at(1), there: at(2) };
}
