/** What is said of a service that was taken off the roll while it was down. */
import { expect, test } from 'vitest';
import { instantText } from '../../src/base/instants.ts';
import { blank } from '../../src/judge/judge.ts';
import { createBoard } from '../../src/serve/server.ts';
import { fernhill } from './fernhill.ts';
import { minuteMs, nothing, sceneOf, words } from './scene.ts';

test('an outage of a service that left the roll ends where it was last seen failing, and leads nowhere', async () => {
  const left = await sceneOf(fernhill);
  const outage = left.standings.get('order-book')?.outage;
  const shops = left.standings.get('shop')?.outage;
  if (!outage || !shops) throw new Error('no outage in the scene');
  // As when it was confirmed; what came after is told by the memory and the last answer.
  const confirmed = { ...outage, lastFailedAt: outage.confirmedAt };
  await left.record.commit({
    ...nothing,
    outages: [confirmed],
    memories: [
      {
        serviceId: 'order-book',
        memory: { ...blank(''), state: 'down', outage: confirmed },
      },
    ],
  });
  const cards = left.options.cards.filter(({ id }) => id !== 'order-book');
  const app = await createBoard({ ...left.options, cards });
  left.clock.step(3 * minuteMs);
  const html = (await app.inject({ url: `/outages/${outage.id}` })).body;
  const text = words(html);
  expect(text).toContain('order-book was seen failing until 09:42 and is no longer on the roll.');
  expect(text).toContain(
    '09:42:00 28 min later The last failed one. It began within the 1 min between the last good answer and the first failed one. It was seen failing for 28 min. How it went on after that is not known: it is no longer asked.',
  );
  expect(text).toContain('1 outage; down for 28 min.');
  expect(text).not.toMatch(/has been down|Details of|at most/);
  expect(html).not.toContain('/services/order-book');
  const behind = (await app.inject({ url: `/outages/${shops.id}` })).body;
  expect(words(behind)).toContain('Behind order-book. Details of Shop');
  const shop = (await app.inject({ url: '/services/shop' })).body;
  expect(shop).not.toContain('Behind <a');
  expect(words(shop)).toContain('Behind order-book. Answer.');
  const answer = await app.inject({ url: `/api/v1/outages/${outage.id}` });
  expect(answer.json()).toMatchObject({
    lastFailedAt: instantText(outage.lastFailedAt),
    restoredAt: null,
  });
  await Promise.all([app.close(), left.app.close()]);
});
