/**
 * A real WireGuard endpoint (Debian's packages wireguard-go and wireguard-tools) in a network namespace of its own, tied to
 * this machine by a pair of virtual cables. Addresses are of 198.18.0.0/15, which RFC 2544 set aside for tests.
 */
import { type ChildProcess, execFileSync, spawn } from 'node:child_process';
import { once } from 'node:events';
import { existsSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { publicOf } from '../../../src/probe/x25519.ts';

export const wireguardProgram = '/usr/bin/wireguard-go';

/** Why no endpoint can be run here although it is installed; null when it can. */
export function wireguardHindrance(): string | null {
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
  try {
    execFileSync('ip', ['netns', 'add', `${name()}-try`], { stdio: 'pipe' });
    execFileSync('ip', ['netns', 'delete', `${name()}-try`], { stdio: 'pipe' });
    return null;
  } catch {
    return 'network namespaces cannot be made';
  }
}

let made = 0;
const name = () => `rcw${process.pid}n${made}`;

export interface PeerSeen {
  readonly presharedKey: string;
  /** Null: it was never heard. */
  readonly endpoint: string | null;
  readonly allowedIps: string;
  readonly latestHandshake: number;
  readonly receivedBytes: number;
  readonly sentBytes: number;
}

export interface WireguardServer extends AsyncDisposable {
  readonly address: string;
  readonly port: number;
  readonly publicKey: string;
  /** Adds or changes a peer that no traffic is routed to. Base64. */
  peer(publicKey: string, presharedKey?: string): void;
  forget(publicKey: string): void;
  seen(publicKey: string): PeerSeen | undefined;
  /** Listens on this port from now on, and on no other. */
  listen(port: number): void;
  /** From now on this address lies behind the namespace, which refuses to pass anything on to it. */
  refuseWayTo(address: string): void;
  log(): string;
}

/** Ready when it listens. */
export async function startWireguard(
  logLevel: 'error' | 'verbose' = 'verbose',
): Promise<WireguardServer> {
  made += 1;
  const own = name();
  const [cable, innerCable] = [`${own}a`, `${own}b`];
  const folder = mkdtempSync(join(tmpdir(), 'rollcall-wg-'));
  const ip = (...args: readonly string[]) => void execFileSync('ip', args, { stdio: 'pipe' });
  const inside = (...args: readonly string[]) => ip('-n', own, ...args);
  const wg = (...args: readonly string[]) =>
    execFileSync('wg', args, { encoding: 'utf8', stdio: 'pipe' });
  const { here, there } = addresses();

  let child: ChildProcess | null = null;
  let log = '';
  const end = async () => {
    if (child && child.exitCode === null) {
      child.kill('SIGTERM');
      await once(child, 'exit');
    }
    // The cables go with the namespace.
    ip('netns', 'delete', own);
    rmSync(folder, { recursive: true });
  };

  ip('netns', 'add', own);
  try {
    ip('link', 'add', cable, 'type', 'veth', 'peer', 'name', innerCable, 'netns', own);
    ip('address', 'add', `${here}/30`, 'dev', cable);
    ip('link', 'set', cable, 'up');
    inside('address', 'add', `${there}/30`, 'dev', innerCable);
    inside('link', 'set', 'lo', 'up');
    inside('link', 'set', innerCable, 'up');

    child = spawn('ip', ['netns', 'exec', own, wireguardProgram, own], {
      env: { ...process.env, WG_PROCESS_FOREGROUND: '1', LOG_LEVEL: logLevel },
      stdio: ['ignore', 'pipe', 'pipe'],
    });
    for (const stream of [child.stdout, child.stderr]) {
      stream?.on('data', (chunk: Buffer) => {
        log += chunk.toString();
      });
    }
    await until(() => existsSync(`/var/run/wireguard/${own}.sock`));
    const privateKey = wg('genkey').trim();
    const keyFile = join(folder, 'key');
    writeFileSync(keyFile, privateKey, { mode: 0o600 });
    wg('set', own, 'listen-port', '51820', 'private-key', keyFile);
    inside('link', 'set', own, 'up');

    return {
      address: there,
      port: 51_820,
      publicKey: publicOf(Buffer.from(privateKey, 'base64')).toString('base64'),
      peer: (publicKey, presharedKey) => {
        const file = presharedKey === undefined ? '/dev/null' : join(folder, 'psk');
        if (presharedKey !== undefined) writeFileSync(file, presharedKey, { mode: 0o600 });
        wg('set', own, 'peer', publicKey, 'preshared-key', file);
      },
      forget: (publicKey) => void wg('set', own, 'peer', publicKey, 'remove'),
      seen: (publicKey) => seenIn(wg('show', own, 'dump'), publicKey),
      refuseWayTo: (address) => {
        const forward = 'echo 1 > /proc/sys/net/ipv4/ip_forward';
        ip('netns', 'exec', own, 'sh', '-c', forward);
        inside('route', 'add', 'prohibit', `${address}/32`);
        // It goes with the cable.
        ip('route', 'add', `${address}/32`, 'via', there, 'dev', cable);
      },
      listen: (port) => void wg('set', own, 'listen-port', String(port)),
      log: () => log,
      [Symbol.asyncDispose]: end,
    };
  } catch (thrown) {
    await end();
    throw thrown;
  }
}

/** Columns as in wg(8), `show … dump`. */
function seenIn(dump: string, publicKey: string): PeerSeen | undefined {
  const line = dump.split('\n').find((one) => one.startsWith(`${publicKey}\t`));
  if (!line) return undefined;
  const [, presharedKey = '', endpoint, allowedIps = '', handshake, received, sent] =
    line.split('\t');
  return {
    presharedKey,
    endpoint: endpoint === '(none)' ? null : (endpoint ?? null),
    allowedIps,
    latestHandshake: Number(handshake),
    receivedBytes: Number(received),
    sentBytes: Number(sent),
  };
}

/** A net of two addresses, another one for each process and server. */
function addresses(): { readonly here: string; readonly there: string } {
  const net = (process.pid * 16 + made) % 2 ** 15;
  const at = (place: number) => {
    const last = net * 4 + place;
    return `198.${18 + (last >> 16)}.${(last >> 8) & 0xff}.${last & 0xff}`;
  };
  return { here: at(1), there: at(2) };
}

async function until(isSo: () => boolean): Promise<void> {
  const late = Date.now() + 10_000;
  while (!isSo()) {
    if (Date.now() > late) throw new Error('wireguard-go did not start');
    await new Promise((resolve) => setTimeout(resolve, 10));
  }
}
