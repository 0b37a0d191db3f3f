/**
 * A port of 127.0.0.1 that is forwarded to another one, as a container's published port is: the server behind it sees
 * the forwarder's address, not the client's. Of loopback every address is this machine's; servers exempt only 127.0.0.1.
 */
import { connect, createServer, type Socket } from 'node:net';

export interface Forwarder extends AsyncDisposable {
  readonly port: number;
  /** Resolves when no connection is open any more. */
  idle(): Promise<void>;
}

/** `seenAs`: the address of loopback that the server sees. */
export async function forwarder(toPort: number, seenAs: string): Promise<Forwarder> {
  const open = new Set<Socket>();
  let told = () => {};
  const track = (socket: Socket) => {
    open.add(socket);
    socket.once('close', () => {
      open.delete(socket);
      if (open.size === 0) told();
    });
  };
  const server = createServer({ allowHalfOpen: true }, (near) => {
    const far = connect({
      port: toPort,
      host: '127.0.0.1',
      localAddress: seenAs,
      allowHalfOpen: true,
    });
    for (const [one, other] of [
      [near, far],
      [far, near],
    ] as const) {
      track(one);
      one.pipe(other);
      one.on('error', () => other.destroy());
      one.on('close', () => other.end());
    }
  });
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  const bound = server.address();
  return {
    port: typeof bound === 'object' && bound ? bound.port : 0,
    idle: () =>
      new Promise((resolve) => {
        told = resolve;
        if (open.size === 0) resolve();
      }),
    [Symbol.asyncDispose]: () =>
      new Promise((resolve) => {
        for (const socket of open) socket.destroy();
        server.close(() => resolve());
      }),
  };
}
