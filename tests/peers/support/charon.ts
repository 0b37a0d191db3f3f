/**
 * A real IKE responder, strongSwan's charon (Debian's packages strongswan-charon, strongswan-swanctl, libcharon-extra-plugins
 * and libstrongswan-standard-plugins), in a network namespace and with a /run of its own: it keeps a pid file there.
 */
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { ended, makeNamespace, until } from './namespace.ts';

export const charonProgram = '/usr/lib/ipsec/charon';

export interface Charon extends AsyncDisposable {
  readonly address: string;
  readonly port: number;
  /** Where messages bear the marker. */
  readonly markedPort: number;
  log(): readonly string[];
  /** How many IKE SAs it holds, half-open ones included. */
  associationsCount(): number;
  stop(): Promise<void>;
}

interface Wish {
  readonly port?: number;
  readonly markedPort?: number;
  /** Lines of the section `charon` of strongswan.conf. */
  readonly settings?: readonly string[];
  /** Loads a connection that any peer may ask for. */
  readonly hasConnection?: boolean;
}

/** Ready when both ports are bound. */
export async function startCharon({
  port = 500,
  markedPort = 4_500,
  settings = [],
  hasConnection = false,
}: Wish = {}): Promise<Charon> {
  const space = makeNamespace();
  const control = `unix://${join(space.folder, 'vici.sock')}`;
  const swanctl = (...args: readonly string[]) =>
    space.run('env', `SWANCTL_DIR=${space.folder}`, 'swanctl', ...args, '--uri', control);
  try {
    writeFileSync(
      join(space.folder, 'strongswan.conf'),
      confOf({ port, markedPort, settings, control, folder: space.folder }),
    );
    writeFileSync(join(space.folder, 'swanctl.conf'), swanctlConf);
    // The mounts are the program's own, and gone with it.
    const child = space.start(
      'unshare',
      ['--mount', 'sh', '-c', `mount -t tmpfs none /run && exec ${charonProgram}`],
      { STRONGSWAN_CONF: join(space.folder, 'strongswan.conf') },
    );
    await until(() => {
      if (child.exitCode !== null) throw new Error(`charon ended: ${space.read('log')}`);
      const bound = space.boundPorts('udp');
      return bound.includes(port) && bound.includes(markedPort);
    }, 'the start of charon');
    if (hasConnection) swanctl('--load-all');
    return {
      address: space.address,
      port,
      markedPort,
      log: () => space.read('log').trimEnd().split('\n'),
      associationsCount: () => {
        const stats = swanctl('--stats');
        return Number(/IKE_SAs: (\d+) total/.exec(stats)?.[1] ?? Number.NaN);
      },
      stop: () => ended(child),
      [Symbol.asyncDispose]: () => space[Symbol.asyncDispose](),
    };
  } catch (thrown) {
    await space[Symbol.asyncDispose]();
    throw thrown;
  }
}

interface Conf {
  readonly port: number;
  readonly markedPort: number;
  readonly settings: readonly string[];
  readonly control: string;
  readonly folder: string;
}

/** Each setting stands on a line of its own. libipsec keeps it away from the kernel's IPsec. */
function confOf({ port, markedPort, settings, control, folder }: Conf): string {
  return `charon {
  load = random nonce aes sha1 sha2 hmac kdf pem pkcs1 x509 openssl gmp kernel-libipsec kernel-netlink socket-default vici
  port = ${port}
  port_nat_t = ${markedPort}
  ${settings.join('\n  ')}
  plugins {
    vici {
      socket = ${control}
    }
  }
  filelog {
    all {
      path = ${join(folder, 'log')}
      flush_line = yes
      default = 1
    }
  }
}
`;
}

const swanctlConf = `connections {
  any {
    version = 2
    proposals = aes256-sha256-x25519
    local {
      auth = psk
      id = gateway.test
    }
    remote {
      auth = psk
    }
    children {
      any {
      }
    }
  }
}
`;
