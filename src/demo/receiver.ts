/** The owner's end of the webhook: checks each signature and says what came, one line each. */
import { randomBytes } from 'node:crypto';
import { createServer, type IncomingMessage } from 'node:http';
import { Webhook } from 'standardwebhooks';
import * as z from 'zod';
import { requestBodyBytesMax } from '../base/limits.ts';
import { cleanText } from '../base/text.ts';
import { listen } from './stage.ts';

export interface Receiver {
  readonly url: string;
  /** `whsec_…`, made for this run. */
  readonly secret: string;
  close(): Promise<void>;
}

const event = z.object({ type: z.string(), data: z.object({ summary: z.string() }) });
const signatureHeaders = ['webhook-id', 'webhook-timestamp', 'webhook-signature'];

/** `print` gets the line without its end. */
export async function openReceiver(print: (line: string) => void): Promise<Receiver> {
  const secret = `whsec_${randomBytes(24).toString('base64')}`;
  const server = createServer((request, response) => {
    readBody(request).then(
      (body) => {
        const line = lineOf(request, body, secret);
        if (line !== null) print(line);
        response.writeHead(line === null ? 401 : 204).end();
      },
      () => response.writeHead(400).end(),
    );
  });
  const port = await listen(server, 0, '127.0.0.1');
  return {
    url: `http://127.0.0.1:${port}/rollcall`,
    secret,
    close: () =>
      new Promise((resolve) => {
        server.close(() => resolve());
        server.closeAllConnections();
      }),
  };
}

/** Null: not signed with the secret, or no event. */
function lineOf({ headers }: IncomingMessage, body: string, secret: string): string | null {
  try {
    const signature = signatureHeaders.map((name) => [name, String(headers[name] ?? '')]);
    const { type, data } = event.parse(
      new Webhook(secret).verify(body, Object.fromEntries(signature)),
    );
    const kind = type.replace(/^rollcall\.(service\.)?/, '');
    return `${kind.padEnd(10)} ${cleanText(data.summary, 400)} (signature verified)`;
  } catch {
    return null;
  }
}

async function readBody(request: IncomingMessage): Promise<string> {
  const parts: Buffer[] = [];
  let sizeBytes = 0;
  for await (const part of request) {
    if (!Buffer.isBuffer(part)) continue;
    parts.push(part);
    sizeBytes += part.length;
    if (sizeBytes > requestBodyBytesMax) throw new Error('a body that is too long');
  }
  return Buffer.concat(parts).toString();
}
