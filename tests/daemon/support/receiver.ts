/** A webhook receiver that keeps what it got, and answers as the test says. */
import { createServer, type IncomingHttpHeaders, type Server } from 'node:http';
import type { AddressInfo } from 'node:net';
import { Webhook } from 'standardwebhooks';

export interface Got {
  readonly headers: IncomingHttpHeaders;
  readonly body: string;
  readonly answered: number;
  readonly atMs: number;
}

export interface Event {
  readonly id: string;
  readonly type: string;
  readonly subject: string;
  readonly data: {
    readonly summary: string;
    readonly state: string;
    readonly since: string;
    readonly affected: readonly string[];
    readonly outage: { readonly id: string; readonly restoredAt: string | null } | null;
  };
}

export interface Receiver {
  readonly url: string;
  readonly got: readonly Got[];
  /** Answers of the next requests, then 204. */
  answer(...statuses: number[]): void;
  /** What was answered with 2xx, signature checked, in order of arrival. */
  delivered(): readonly Event[];
  close(): Promise<void>;
}

export const webhookSecret = `whsec_${Buffer.from('a secret of twenty-four.').toString('base64')}`;

export async function receiver(port = 0): Promise<Receiver> {
  const got: Got[] = [];
  let statuses: number[] = [];
  const server: Server = createServer((request, response) => {
    let body = '';
    request.on('data', (chunk: Buffer) => {
      body += chunk.toString();
    });
    request.on('end', () => {
      const answered = statuses.shift() ?? 204;
      got.push({ headers: request.headers, body, answered, atMs: Date.now() });
      response.writeHead(answered).end();
    });
  });
  await new Promise<void>((resolve) => server.listen(port, '127.0.0.1', resolve));
  return {
    url: `http://127.0.0.1:${(server.address() as AddressInfo).port}/in`,
    got,
    answer: (...next) => {
      statuses = next;
    },
    delivered: () =>
      got
        .filter(({ answered }) => answered < 300)
        .map(
          ({ body, headers }) =>
            new Webhook(webhookSecret).verify(body, webhookHeaders(headers)) as Event,
        ),
    close: () =>
      new Promise((resolve) => {
        server.close(() => resolve());
        server.closeAllConnections();
      }),
  };
}

export function webhookHeaders(headers: IncomingHttpHeaders): { [name: string]: string } {
  return Object.fromEntries(
    ['webhook-id', 'webhook-timestamp', 'webhook-signature'].map((name) => [
      name,
      String(headers[name] ?? ''),
    ]),
  );
}
