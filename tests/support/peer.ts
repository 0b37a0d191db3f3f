/** A peer on loopback that behaves as a test wants; it remembers how each connection ended. */
import { createServer, type Server, type Socket } from 'node:net';
import { realClock } from '../../src/base/clock-real.ts';
import { keepInMemory } from '../../src/probe/keep-in-memory.ts';
import type { ProbeContext } from '../../src/probe/probe.ts';

export interface Peer extends AsyncDisposable {
  readonly port: number;
  /** Everything that was sent to it, over all connections. */
  received(): Buffer;
  /** Resolves when every connection made so far has ended, with `fin` or an error's code for each. */
  endings(): Promise<readonly string[]>;
  connectionsCount(): number;
}

/** `address` of loopback; port 0. `behave` runs for each connection. */
export async function peer(
  behave: (socket: Socket) => void,
  address = '127.0.0.1',
  port = 0,
): Promise<Peer> {
  const endings: Promise<string>[] = [];
  const sockets = new Set<Socket>();
  const received: Buffer[] = [];
  const server = createServer({ allowHalfOpen: true }, (socket) => {
    sockets.add(socket);
    endings.push(
      new Promise((resolve) => {
        socket.once('end', () => {
          resolve('fin');
          socket.end();
        });
        socket.on('error', (error: NodeJS.ErrnoException) => resolve(error.code ?? 'error'));
        socket.once('close', () => resolve('closed'));
      }),
    );
    socket.on('data', (chunk: Buffer) => received.push(chunk));
    behave(socket);
  });
  await listening(server, port, address);
  const bound = server.address();
  return {
    port: typeof bound === 'object' && bound ? bound.port : 0,
    received: () => Buffer.concat(received),
    endings: () => Promise.all(endings),
    connectionsCount: () => endings.length,
    [Symbol.asyncDispose]: () =>
      new Promise((resolve) => {
        for (const socket of sockets) socket.destroy();
        server.close(() => resolve());
      }),
  };
}

/** A port of loopback on which nothing listens. */
export async function closedPort(): Promise<number> {
  const one = await peer(() => {});
  await one[Symbol.asyncDispose]();
  return one.port;
}

/** Under the machine's clock. */
export function context(given: Partial<ProbeContext> = {}): ProbeContext {
  return {
    clock: realClock(),
    timeoutMs: 5_000,
    signal: new AbortController().signal,
    keep: keepInMemory(),
    ...given,
  };
}

/** Writes each chunk in a segment of its own, one every `gapMs`. */
export function drip(socket: Socket, chunks: readonly Uint8Array[], gapMs = 1): void {
  const [first, ...rest] = chunks;
  if (!first || socket.destroyed) return;
  socket.write(first);
  setTimeout(() => drip(socket, rest, gapMs), gapMs);
}

function listening(server: Server, port: number, address: string): Promise<void> {
  return new Promise((resolve, reject) => {
    server.once('error', reject);
    server.listen(port, address, resolve);
  });
}
