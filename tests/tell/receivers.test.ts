/** Outbox and webhook together against receivers on loopback: at least once, in order, one id, a fresh signature each time. */
import type { ServerResponse } from 'node:http';
import { Webhook } from 'standardwebhooks';
import { expect, test, vi } from 'vitest';
import { realClock } from '../../src/base/clock-real.ts';
import { silentLog } from '../../src/base/log.ts';
import type { Notice } from '../../src/record/record.ts';
import { startDelivery } from '../../src/tell/delivery.ts';
import { webhookSender } from '../../src/tell/webhook.ts';
import { type Received, type Receiver, receiver } from '../support/receiver.ts';
import { memoryRecord } from '../support/record-memory.ts';
import { notice } from '../support/telling.ts';

const secret = 'whsec_C2FVsBQIhrscChlQIMV+b5sSYspob7oD';

/** One channel to this receiver. Pauses are without length (jitter takes all of them), unless the receiver asks for one. */
async function telling(home: Pick<Receiver, 'url'>, notices: readonly Partial<Notice>[]) {
  const real = realClock();
  let aheadMs = 0;
  // Each reading of the wall clock is a second on, so that timestamps (whole seconds) differ.
  const wallMs = () => {
    aheadMs += 1_000;
    return real.wallMs() + aheadMs;
  };
  const clock = { ...real, wallMs };
  const record = memoryRecord();
  const at = real.wallMs();
  await record.commit({
    observations: [],
    memories: [],
    spans: [],
    outages: [],
    unconfirmed: [],
    notices: notices.map((more, nth) => ({
      kind: 'add',
      notice: notice(`n${nth}`, { at, notBefore: at, ...more }),
    })),
  });
  const delivery = startDelivery({
    record,
    channels: [
      {
        name: 'phone',
        webhook: `${home.url}/in`,
        secret,
        headers: null,
        method: 'POST',
        body: null,
      },
    ],
    clock,
    log: silentLog,
    random: () => 0,
    send: webhookSender({ clock, instanceId: record.instanceId }),
  });
  return { record, delivery, at };
}

/** What a receiver checks before it believes a request: throws where signature or time are wrong. */
function believed({ headers, body }: Received): { id: string } {
  return new Webhook(secret).verify(body, headers as Record<string, string>) as { id: string };
}

const idsOf = (received: readonly Received[]) =>
  received.map(({ headers }) => String(headers['webhook-id']));

test('five failures, then success: the same event each time, signed anew', async () => {
  await using home = await receiver((response, nth) =>
    response.writeHead(nth < 5 ? 500 : 200).end(),
  );
  const { record, delivery } = await telling(home, [{}, { type: 'rollcall.service.up' }]);
  await vi.waitFor(async () => expect(await record.nextDeliveryAt()).toBeNull(), 5_000);
  await delivery.stop();
  expect(idsOf(home.received)).toEqual(['n0', 'n0', 'n0', 'n0', 'n0', 'n0', 'n1']);
  for (const request of home.received) {
    expect(believed(request).id).toBe(request.headers['webhook-id']);
  }
  const first = home.received.slice(0, 6);
  expect(new Set(first.map(({ body }) => body)).size).toBe(1);
  expect(new Set(first.map(({ headers }) => headers['webhook-timestamp'])).size).toBe(6);
  expect(new Set(first.map(({ headers }) => headers['webhook-signature'])).size).toBe(6);
  const [report] = await record.deliveriesOf('order-book.1');
  expect(report?.attempts.map(({ status }) => status)).toEqual([500, 500, 500, 500, 500, 200]);
});

const twoMinutesOn = () => new Date(Date.now() + 120_000).toUTCString();

test.each([
  ['seconds', () => '120'],
  ['a date', twoMinutesOn],
])('429 with Retry-After in %s: the next attempt waits as long', async (_, field) => {
  await using home = await receiver((response) =>
    response.writeHead(429, { 'retry-after': field() }).end(),
  );
  const { record, delivery, at } = await telling(home, [{}]);
  await vi.waitFor(async () => {
    const [report] = await record.deliveriesOf('order-book.1');
    expect(report?.attempts).toHaveLength(1);
  });
  await delivery.stop();
  const waitMs = ((await record.nextDeliveryAt()) ?? 0) - at;
  // The clock of this test runs ahead by some seconds.
  expect(waitMs).toBeGreaterThan(110_000);
  expect(waitMs).toBeLessThan(180_000);
  expect(home.received).toHaveLength(1);
});

test('410 is the end of that message, not of the next', async () => {
  await using home = await receiver((response, nth) =>
    response.writeHead(nth === 0 ? 410 : 204).end(),
  );
  const { record, delivery } = await telling(home, [{}, { type: 'rollcall.service.up' }]);
  await vi.waitFor(async () => expect(await record.nextDeliveryAt()).toBeNull());
  await delivery.stop();
  expect(idsOf(home.received)).toEqual(['n0', 'n1']);
  expect(await record.deadLetters(9)).toMatchObject([{ notice: { id: 'n0' } }]);
});

test.each<[string, (response: ServerResponse) => void]>([
  ['drops the connection', (response) => response.destroy()],
  [
    'points elsewhere',
    (response) => response.writeHead(307, { location: 'http://127.0.0.1:9/' }).end(),
  ],
  ['is overloaded', (response) => response.writeHead(503).end('later')],
])(
  'a receiver that %s at first gets the message all the same, and before the next',
  async (_, misbehave) => {
    await using home = await receiver((response, nth) => {
      if (nth < 2) misbehave(response);
      else response.end('ok');
    });
    const { record, delivery } = await telling(home, [{}, { type: 'rollcall.service.up' }]);
    await vi.waitFor(async () => expect(await record.nextDeliveryAt()).toBeNull(), 5_000);
    await delivery.stop();
    expect(idsOf(home.received)).toEqual(['n0', 'n0', 'n0', 'n1']);
  },
);

test('messages of other outages do not wait for a receiver that hangs over one', async () => {
  const hanging: ServerResponse[] = [];
  await using home = await receiver((response, _, { headers }) => {
    if (headers['webhook-id'] === 'n0') hanging.push(response);
    else response.end();
  });
  const { record, delivery } = await telling(home, [{}, { outageId: 'shop.1' }]);
  await vi.waitFor(async () => {
    expect(await record.deliveriesOf('shop.1')).toMatchObject([{ state: 'delivered' }]);
    expect(hanging).toHaveLength(1);
  });
  expect(await record.deliveriesOf('order-book.1')).toMatchObject([{ state: 'waiting' }]);
  for (const response of hanging) response.end();
  await vi.waitFor(async () => expect(await record.nextDeliveryAt()).toBeNull());
  await delivery.stop();
});
