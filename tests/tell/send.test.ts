/** Where the board has an address, what is about an outage leads to its page. */
import { expect, test } from 'vitest';
import { realClock } from '../../src/base/clock-real.ts';
import { channelSender } from '../../src/tell/send.ts';
import { receiver } from '../support/receiver.ts';
import { notice } from '../support/telling.ts';

async function linkOf(address: string | null, outageId: string | null): Promise<unknown> {
  await using home = await receiver((response) => response.writeHead(204).end());
  const send = channelSender({
    clock: realClock(),
    instanceId: '2f1c9d3a-5b0e-4d0a-9c57-0f2f6f4f8b11',
    sayInstant: String,
    address,
  });
  const webhook = `${home.url}/in`;
  const channel = { name: 'phone', only: null, webhook, secret: null, headers: null, body: null };
  await send(
    { ...channel, method: 'POST' },
    notice('n1', { outageId }),
    new AbortController().signal,
  );
  return JSON.parse(home.received[0]?.body ?? '{}').data.link;
}

test('an outage has a link under the address of the board, also behind a path', async () => {
  expect(await linkOf('https://home.fernhill.home.arpa/rollcall', 'order-book.mwvwpqo8')).toBe(
    'https://home.fernhill.home.arpa/rollcall/outages/order-book.mwvwpqo8',
  );
});

test('there is no link without an address, or without an outage', async () => {
  expect(await linkOf(null, 'order-book.mwvwpqo8')).toBeUndefined();
  expect(await linkOf('https://home.fernhill.home.arpa', null)).toBeUndefined();
});
