/** Where the demo's servers stand: on loopback, under the names of the studio, there until they leave and come back. */
import type { Server, Socket } from 'node:net';
import type { Lookup } from '../probe/probe.ts';

/**
 * An address of loopback that nothing else is likely to use, so that the studio's ports can be the usual ones.
 * Where a system has only 127.0.0.1, or the port is taken or kept for root, any free one has to do.
 */
const stageAddress = '127.7.6.55';

export interface Place {
  /** A name of the studio. */
  readonly host: string;
  readonly port: number;
}

interface Standing extends Place {
  readonly address: string;
}

export interface StandIn extends Standing {
  /** Nothing listens any more, and connections are cut. */
  leave(): Promise<void>;
  /** Listens again. Rejects when its port was taken meanwhile. */
  comeBack(): Promise<void>;
}

export async function onStage(server: Server, wanted: Place): Promise<StandIn> {
  const open = new Set<Socket>();
  server.on('connection', (socket: Socket) => {
    open.add(socket);
    socket.on('error', () => socket.destroy());
    socket.once('close', () => open.delete(socket));
  });
  const standing = await somewhere((port, address) => listen(server, port, address), wanted);
  return {
    ...standing,
    leave: () =>
      new Promise((resolve) => {
        // Calls back with an error when it had left already.
        server.close(() => resolve());
        for (const socket of open) socket.destroy();
      }),
    comeBack: async () => {
      if (!server.listening) await listen(server, standing.port, standing.address);
    },
  };
}

/** Tries the usual port on the demo's own address, else any on 127.0.0.1. `open` gives the port that it became. */
export async function somewhere(
  open: (port: number, address: string) => Promise<number>,
  { host, port }: Place,
): Promise<Standing> {
  try {
    return { host, port: await open(port, stageAddress), address: stageAddress };
  } catch {
    const address = '127.0.0.1';
    return { host, port: await open(0, address), address };
  }
}

/** Any port of 127.0.0.1 when `port` is 0. */
export function listen(server: Server, port: number, address: string): Promise<number> {
  return new Promise((resolve, reject) => {
    server.once('error', reject);
    server.listen(port, address, () => {
      server.off('error', reject);
      const bound = server.address();
      resolve(typeof bound === 'object' && bound !== null ? bound.port : port);
    });
  });
}

/** In place of the system's resolver: the studio's names are known here and nowhere else. */
export function studioLookup(places: readonly Standing[]): Lookup {
  const addresses = new Map(places.map(({ host, address }) => [host, address]));
  return async (host) => {
    const address = addresses.get(host);
    return address === undefined ? [] : [address];
  };
}
