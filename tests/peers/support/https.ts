/** A web server of a real kind on loopback, with or without TLS, that can be stopped, started again and made to hang. */
import {
  createServer,
  type IncomingHttpHeaders,
  type RequestListener,
  type Server,
} from 'node:http';
import { createServer as createTlsServer } from 'node:https';
import type { Socket } from 'node:net';
import type { TLSSocket, TlsOptions } from 'node:tls';

export interface WebPeer extends AsyncDisposable {
  /** Stays the same over stop and start. */
  readonly port: number;
  readonly requests: readonly Asked[];
  /** Names that clients asked for in their handshakes. */
  readonly serverNames: readonly (string | false | null)[];
  /** Nothing listens any more, and open connections are cut. */
  stop(): Promise<void>;
  start(): Promise<void>;
  /** Connections are accepted, requests are not answered. */
  hang(): void;
  /** They are again. */
  wake(): void;
}

interface Asked {
  readonly url: string;
  readonly headers: IncomingHttpHeaders;
}

interface Given {
  /** Absent: plain HTTP. */
  readonly tls?: TlsOptions;
  /** `200 OK` and `Kiln` unless given. */
  readonly answer?: RequestListener;
}

export async function startWeb({ tls, answer = answerKiln }: Given = {}): Promise<WebPeer> {
  const requests: Asked[] = [];
  const serverNames: (string | false | null)[] = [];
  const sockets = new Set<Socket>();
  let hangs = false;

  const listener: RequestListener = (request, response) => {
    requests.push({ url: request.url ?? '', headers: request.headers });
    if (!hangs) answer(request, response);
  };
  const server: Server = tls ? createTlsServer(tls, listener) : createServer(listener);
  server.on('connection', (socket: Socket) => {
    sockets.add(socket);
    socket.once('close', () => sockets.delete(socket));
    socket.on('error', () => {});
  });
  server.on('secureConnection', (socket: TLSSocket & { servername?: string | false | null }) =>
    serverNames.push(socket.servername ?? null),
  );
  server.on('tlsClientError', () => {});
  await listen(server, 0);
  const bound = server.address();
  const port = typeof bound === 'object' && bound ? bound.port : 0;

  const stop = () =>
    new Promise<void>((resolve) => {
      for (const socket of sockets) socket.destroy();
      if (server.listening) server.close(() => resolve());
      else resolve();
    });
  return {
    port,
    requests,
    serverNames,
    stop,
    start: () => listen(server, port),
    hang: () => {
      hangs = true;
    },
    wake: () => {
      hangs = false;
    },
    [Symbol.asyncDispose]: stop,
  };
}

const answerKiln: RequestListener = (_request, response) => void response.end('Kiln');

function listen(server: Server, port: number): Promise<void> {
  return new Promise((resolve, reject) => {
    server.once('error', reject);
    server.listen(port, '127.0.0.1', () => {
      server.off('error', reject);
      resolve();
    });
  });
}
