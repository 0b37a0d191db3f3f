/** A webhook receiver in a mood: it takes a message, answers 500, hangs up, takes its time; and counts all that comes. */
import { createServer, type IncomingMessage, type ServerResponse } from 'node:http';
import type { AddressInfo } from 'node:net';
import { Webhook } from 'standardwebhooks';
import type { Chance } from '../../simulate/chance.ts';
import { type Event, webhookHeaders, webhookSecret } from './receiver.ts';

export interface Arrival {
  readonly event: Event;
  readonly body: string;
  readonly webhookId: string;
  /** Answered with 2xx. */
  readonly taken: boolean;
}

export interface MoodyReceiver {
  readonly url: string;
  /** In order. */
  readonly arrivals: readonly Arrival[];
  /** Requests whose signature or body was not in order. */
  readonly faults: readonly string[];
  /** From now on it takes everything. */
  calm(): void;
  close(): Promise<void>;
}

const errorShare = 0.25;
const hangUpShare = 0.15;
const answerMsMax = 300;

export async function moodyReceiver({ next }: Chance): Promise<MoodyReceiver> {
  const arrivals: Arrival[] = [];
  const faults: string[] = [];
  let calm = false;

  const answer = (body: string, request: IncomingMessage, response: ServerResponse): void => {
    const mood = calm ? 1 : next();
    const taken = mood >= errorShare + hangUpShare;
    try {
      // At once: a signature is good for some minutes only.
      const event = new Webhook(webhookSecret).verify(
        body,
        webhookHeaders(request.headers),
      ) as Event;
      arrivals.push({ event, body, webhookId: String(request.headers['webhook-id']), taken });
    } catch (thrown) {
      faults.push(`${thrown}: ${body}`);
    }
    if (taken) response.writeHead(204).end();
    else if (mood < errorShare) response.writeHead(500).end();
    else response.destroy();
  };
  const server = createServer((request, response) => {
    let body = '';
    request.on('data', (chunk: Buffer) => {
      body += chunk.toString();
    });
    request.on('error', () => {});
    request.on('end', () => {
      setTimeout(() => answer(body, request, response), calm ? 0 : next() * answerMsMax);
    });
  });
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  return {
    url: `http://127.0.0.1:${(server.address() as AddressInfo).port}/in`,
    arrivals,
    faults,
    calm: () => {
      calm = true;
    },
    close: () =>
      new Promise((resolve) => {
        server.close(() => resolve());
        server.closeAllConnections();
      }),
  };
}
