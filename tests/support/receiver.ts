/** A receiver of webhooks on loopback that answers as a test wants and remembers what it got. */
import { createServer, type IncomingHttpHeaders, type ServerResponse } from 'node:http';
import type { AddressInfo } from 'node:net';

export interface Received {
  readonly method: string;
  readonly path: string;
  readonly headers: IncomingHttpHeaders;
  readonly body: string;
}

export interface Receiver extends AsyncDisposable {
  readonly url: string;
  readonly port: number;
  readonly received: readonly Received[];
  /** Connections that are open at this moment. */
  openCount(): number;
}

/** `answer` is called with the number of the request, from 0. */
export async function receiver(
  answer: (response: ServerResponse, nth: number, request: Received) => void,
): Promise<Receiver> {
  const received: Received[] = [];
  const server = createServer((request, response) => {
    const chunks: Buffer[] = [];
    request.on('error', () => {});
    response.on('error', () => {});
    request.on('data', (chunk: Buffer) => chunks.push(chunk));
    request.on('end', () => {
      const { method = '', url: path = '', headers } = request;
      const one = { method, path, headers, body: Buffer.concat(chunks).toString() };
      received.push(one);
      answer(response, received.length - 1, one);
    });
  });
  let openCount = 0;
  server.on('connection', (socket) => {
    openCount++;
    socket.on('close', () => {
      openCount--;
    });
  });
  await new Promise<void>((resolve) => {
    server.listen(0, '127.0.0.1', resolve);
  });
  const { port } = server.address() as AddressInfo;
  return {
    url: `http://127.0.0.1:${port}`,
    port,
    received,
    openCount: () => openCount,
    [Symbol.asyncDispose]: () =>
      new Promise((resolve) => {
        server.close(() => resolve());
        server.closeAllConnections();
      }),
  };
}
