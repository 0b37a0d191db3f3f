/** A real OpenVPN server (Debian's package openvpn) in a network namespace of its own. Its keys are made on the spot. */
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { selfSigned } from '../../support/certificates.ts';
import { ended, makeNamespace, until } from './namespace.ts';

export const openvpnProgram = '/usr/sbin/openvpn';

export interface OpenvpnServer extends AsyncDisposable {
  readonly address: string;
  readonly port: number;
  /** The content of a static key file, made once; what the server itself uses where it uses one. */
  readonly staticKey: string;
  /** Of tls-crypt-v2, made for one client. */
  readonly clientKey: string;
  /** Lines of the log so far, without their times. */
  log(): readonly string[];
  stop(): Promise<void>;
}

interface Wish {
  readonly proto?: 'udp' | 'tcp';
  /** Further options: `['--tls-auth', 'static.key', '0']`. Files: `static.key`, `v2-server.key`. */
  readonly options?: readonly string[];
}

const port = 1_194;

/** Ready when it listens. */
export async function startOpenvpn({
  proto = 'udp',
  options = [],
}: Wish = {}): Promise<OpenvpnServer> {
  const space = makeNamespace();
  try {
    const { key, cert } = selfSigned('DNS:vpn.test');
    writeFileSync(join(space.folder, 'server.key'), key, { mode: 0o600 });
    writeFileSync(join(space.folder, 'server.pem'), cert);
    const at = (file: string) => join(space.folder, file);
    const make = (...args: readonly string[]) => space.run(openvpnProgram, ...args);
    make('--genkey', 'secret', at('static.key'));
    make('--genkey', 'tls-crypt-v2-server', at('v2-server.key'));
    make(
      ...['--tls-crypt-v2', at('v2-server.key')],
      '--genkey',
      'tls-crypt-v2-client',
      at('v2.key'),
    );
    const child = space.start(openvpnProgram, [
      ...['--mode', 'server', '--tls-server', '--dev', 'tun7', '--dev-type', 'tun'],
      ...['--ifconfig-noexec', '--topology', 'subnet', '--local', space.address],
      ...['--port', String(port), '--proto', proto === 'tcp' ? 'tcp4-server' : 'udp4'],
      ...['--ca', 'server.pem', '--cert', 'server.pem', '--key', 'server.key', '--dh', 'none'],
      ...['--verb', '4', '--log', 'log', ...options],
    ]);
    const has = (line: string) => space.read('log').includes(line);
    await until(
      () => child.exitCode !== null || has('Initialization Sequence Completed'),
      'the start of openvpn',
    );
    if (child.exitCode !== null) throw new Error(`openvpn ended: ${space.read('log')}`);
    return {
      address: space.address,
      port,
      staticKey: space.read('static.key'),
      clientKey: space.read('v2.key'),
      log: () =>
        space
          .read('log')
          .trimEnd()
          .split('\n')
          .map((line) => line.replace(/^\d{4}-\d\d-\d\d \d\d:\d\d:\d\d (us=\d+ )?/, '')),
      stop: () => ended(child),
      [Symbol.asyncDispose]: () => space[Symbol.asyncDispose](),
    };
  } catch (thrown) {
    await space[Symbol.asyncDispose]();
    throw thrown;
  }
}
