/** One attempt at a webhook: what is sent, and that no receiver can hang, bloat or mislead it. */
import { subscribe, unsubscribe } from 'node:diagnostics_channel';
import { Webhook } from 'standardwebhooks';
import { expect, test, vi } from 'vitest';
import type { Clock } from '../../src/base/clock.ts';
import { realClock } from '../../src/base/clock-real.ts';
import { deliveryMsMax } from '../../src/base/limits.ts';
import type { WebhookChannel } from '../../src/tell/channel.ts';
import { type Answer, webhookSender } from '../../src/tell/webhook.ts';
import { closedPort, peer } from '../support/peer.ts';
import { receiver } from '../support/receiver.ts';
import { notice } from '../support/telling.ts';

const secret = 'whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw';
const instanceId = '2f1c9d3a-5b0e-4d0a-9c57-0f2f6f4f8b11';
const message = notice('0d9e6c1e-2a54-4f0b-8a37-6f0a3d2b7c55');
const never = new AbortController().signal;

/** The machine's clock, but the one long alarm, the deadline, rings as soon as somebody pulls it. */
function clockWithDeadline(): Clock & { ring(): void } {
  const clock = realClock();
  let alarm: (() => void) | null = null;
  return {
    ...clock,
    after: (delayMs, then) => {
      if (delayMs !== deliveryMsMax) return clock.after(delayMs, then);
      alarm = then;
      return { cancel: () => {} };
    },
    ring: () => alarm?.(),
  };
}

function channel(webhook: string, more: Partial<WebhookChannel> = {}): WebhookChannel {
  return { name: 'phone', webhook, secret, headers: null, method: 'POST', body: null, ...more };
}

function attempt(
  to: WebhookChannel,
  clock: Clock = realClock(),
  signal: AbortSignal = never,
): Promise<Answer> {
  return webhookSender({ clock, instanceId })(to, message, signal);
}

test('the event arrives whole, signed, and named as what it is', async () => {
  await using home = await receiver((response) => response.writeHead(204).end());
  const answer = await attempt(channel(`${home.url}/in/rollcall?k=1`));
  expect(answer).toEqual({
    status: 204,
    reception: 'taken',
    detail: 'answered 204',
    retryAfterMs: null,
  });
  expect(home.received).toHaveLength(1);
  const [{ method, path, headers, body } = expect.fail()] = home.received;
  expect(`${method} ${path}`).toBe('POST /in/rollcall?k=1');
  expect(headers['content-type']).toBe('application/cloudevents+json');
  expect(headers['user-agent']).toBe('Rollcall');
  expect(headers['webhook-id']).toBe(message.id);
  expect(headers['content-length']).toBe(String(Buffer.byteLength(body)));
  const event = new Webhook(secret).verify(body, headers as Record<string, string>);
  expect(event).toMatchObject({
    specversion: '1.0',
    id: message.id,
    source: `urn:uuid:${instanceId}`,
    data: message.data,
  });
});

test('the connection is closed afterwards', async () => {
  await using home = await receiver((response) => response.end('thanks'));
  const answer = await attempt(channel(home.url));
  expect(answer.detail).toBe('answered 200: thanks');
  await vi.waitFor(() => expect(home.openCount()).toBe(0));
});

test("the owner's headers are sent, and cannot replace those that describe and sign the event", async () => {
  await using home = await receiver((response) => response.end());
  const headers = {
    Authorization: 'Bearer kiln-token',
    'Content-Type': 'text/plain',
    'Webhook-Id': 'x',
  };
  await attempt(channel(home.url, { headers, secret: null }));
  const [{ headers: got } = expect.fail()] = home.received;
  expect(got.authorization).toBe('Bearer kiln-token');
  expect(got['content-type']).toBe('application/cloudevents+json');
  expect(got['webhook-id']).toBe(message.id);
  expect(got['webhook-signature']).toBeUndefined();
});

test('a receiver that never answers is left when the time is over', async () => {
  const clock = clockWithDeadline();
  await using home = await receiver(() => clock.ring());
  const answer = await attempt(channel(home.url), clock);
  expect(answer).toEqual({
    status: null,
    reception: 'later',
    detail: `127.0.0.1:${home.port} did not answer within 10 s`,
    retryAfterMs: null,
  });
  await vi.waitFor(() => expect(home.openCount()).toBe(0));
});

test('a receiver that sends its head and then dawdles over the body has answered', async () => {
  const clock = clockWithDeadline();
  // undici's own account of what it read, so that the time is over after the head and not before.
  const headRead = () => setImmediate(clock.ring);
  subscribe('undici:request:headers', headRead);
  await using home = await receiver((response) => {
    response.writeHead(202, { 'content-length': '100' });
    response.write('almost');
  });
  const answer = await attempt(channel(home.url), clock);
  unsubscribe('undici:request:headers', headRead);
  expect(answer.status).toBe(202);
});

test('an endless body is read to its limit and no further', async () => {
  await using home = await receiver((response) => {
    const more = () => {
      while (!response.destroyed && response.write('kiln '.repeat(2_000)));
      if (!response.destroyed) response.once('drain', more);
    };
    more();
  });
  const answer = await attempt(channel(home.url));
  expect(answer.status).toBe(200);
  expect(answer.detail).toMatch(/^answered 200: kiln kiln/);
  expect(answer.detail.length).toBeLessThan(230);
  await vi.waitFor(() => expect(home.openCount()).toBe(0));
});

test('endless headers are not read to their end', async () => {
  await using home = await peer((socket) => {
    socket.write('HTTP/1.1 200 OK\r\n');
    const more = () => {
      while (!socket.destroyed && socket.write(`x: ${'y'.repeat(8_000)}\r\n`));
      if (!socket.destroyed) socket.once('drain', more);
    };
    more();
  });
  const answer = await attempt(channel(`http://127.0.0.1:${home.port}`));
  expect(answer).toMatchObject({
    status: null,
    reception: 'later',
    detail: `127.0.0.1:${home.port} answered with more headers than are read`,
  });
});

test('control characters and direction marks of the answer are stripped', async () => {
  await using home = await receiver((response) =>
    response.writeHead(500).end('no\u0007 \u001b[31mred\u202e\r\nline'),
  );
  const answer = await attempt(channel(home.url));
  expect(answer.detail).toBe('answered 500: no [31mred line');
});

test.each([301, 302, 303, 307, 308])(
  'a redirect (%i) is a failure and is not followed',
  async (status) => {
    await using elsewhere = await receiver((response) => response.end());
    await using home = await receiver((response) =>
      response.writeHead(status, { location: elsewhere.url }).end(),
    );
    const answer = await attempt(channel(home.url));
    expect(answer.status).toBe(status);
    expect(answer.detail).toContain('redirects are not followed');
    expect(elsewhere.received).toHaveLength(0);
  },
);

test('the address where a cloud tells secrets to who asks from within is not asked', async () => {
  const asked: unknown[] = [];
  const listen = (message: unknown) => asked.push(message);
  subscribe('net.client.socket', listen);
  try {
    await using home = await receiver((response) =>
      response.writeHead(302, { location: 'http://169.254.169.254/latest/meta-data/' }).end(),
    );
    const answer = await attempt(channel(home.url));
    expect(answer).toMatchObject({ status: 302, reception: 'later' });
    expect(answer.detail).not.toContain('169.254');
    // The one to the receiver, and no other.
    expect(asked).toHaveLength(1);
  } finally {
    unsubscribe('net.client.socket', listen);
  }
});

test('a port where nothing listens is named', async () => {
  const port = await closedPort();
  const answer = await attempt(channel(`http://127.0.0.1:${port}/in/quiet-path`));
  expect(answer).toEqual({
    status: null,
    reception: 'later',
    detail: `nothing listens on 127.0.0.1:${port}`,
    retryAfterMs: null,
  });
});

test.each([
  ['before it answers', (socket: { destroy(): void }) => socket.destroy()],
  [
    'in the middle of its status line',
    (socket: { end(text: string): void }) => socket.end('HTTP/1.1 20'),
  ],
])('a receiver that cuts the connection %s has not answered', async (_, behave) => {
  await using home = await peer((socket) => socket.once('data', () => behave(socket)));
  const answer = await attempt(channel(`http://127.0.0.1:${home.port}`));
  expect(answer.status).toBeNull();
  expect(answer.detail).toBe(`127.0.0.1:${home.port} cut the connection before it answered`);
});

test('a receiver that cuts the connection in the middle of its body has answered', async () => {
  await using home = await peer((socket) =>
    socket.once('data', () => socket.end('HTTP/1.1 200 OK\r\ncontent-length: 50\r\n\r\nhal')),
  );
  const answer = await attempt(channel(`http://127.0.0.1:${home.port}`));
  expect(answer.status).toBe(200);
});

test('a peer that does not speak HTTP is told apart', async () => {
  await using home = await peer((socket) => socket.end('SSH-2.0-kiln\r\n'));
  const answer = await attempt(channel(`http://127.0.0.1:${home.port}`));
  expect(answer).toMatchObject({
    status: null,
    reception: 'later',
    detail: `127.0.0.1:${home.port} does not answer in HTTP`,
  });
});

test.each([
  ['7', 7_000],
  ['-3', 0],
  ['later', null],
])('Retry-After: %s is handed on as %s', async (field, retryAfterMs) => {
  await using home = await receiver((response) =>
    response.writeHead(429, { 'retry-after': field }).end(),
  );
  expect((await attempt(channel(home.url))).retryAfterMs).toBe(retryAfterMs);
});

test('Retry-After as a date counts from now', async () => {
  const in20s = new Date(Math.floor(Date.now() / 1000) * 1000 + 20_000).toUTCString();
  await using home = await receiver((response) =>
    response.writeHead(503, { 'retry-after': in20s }).end(),
  );
  const { retryAfterMs } = await attempt(channel(home.url));
  expect(retryAfterMs).toBeGreaterThan(15_000);
  expect(retryAfterMs).toBeLessThanOrEqual(20_000);
});

test('what a receiver quotes of its address, its headers and its secret is struck out', async () => {
  await using home = await receiver((response, _, { path, headers }) =>
    response
      .writeHead(404)
      .end(`no hook ${path} ${decodeURIComponent(path)} for ${headers.authorization}; ${secret}`),
  );
  const answer = await attempt(
    channel(`${home.url}/in/a%20quiet%20path?token=kilnwords`, {
      headers: { authorization: 'Bearer shop-token' },
    }),
  );
  expect(answer.status).toBe(404);
  expect(answer.detail).toMatch(/^answered 404: no hook …/);
  for (const word of ['quiet', 'kilnwords', 'shop-token', secret]) {
    expect(answer.detail).not.toContain(word);
  }
});

test('an attempt that is cut ends at once', async () => {
  const stop = new AbortController();
  await using home = await receiver(() => stop.abort());
  const answer = await attempt(channel(home.url), realClock(), stop.signal);
  expect(answer.status).toBeNull();
  const late = await attempt(channel(home.url), realClock(), stop.signal);
  expect(late.status).toBeNull();
  expect(home.received).toHaveLength(1);
});

test.each([
  ['an address that is none', { webhook: 'kiln' }],
  ['a secret that is none', { secret: 'whsec_!' }],
])('%s is an answer, not an exception', async (_, wrong) => {
  const answer = await attempt({ ...channel('http://127.0.0.1:9'), ...wrong });
  expect(answer).toMatchObject({ status: null, retryAfterMs: null });
  expect(answer.detail).toContain('cannot be made');
});

test('a header that cannot be sent is an answer, and its value is not told', async () => {
  const answer = await attempt(
    channel('http://127.0.0.1:9', { headers: { authorization: 'Bearer kiln\r\ntoken' } }),
  );
  expect(answer).toMatchObject({ status: null });
  expect(answer.detail).toContain('check the headers');
  expect(answer.detail).not.toContain('kiln');
});
