/** The page of an outage as it is sent. */
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { fernhill } from './fernhill.ts';
import { minuteMs, nothing, now, type Scene, sceneOf, words } from './scene.ts';
import { told } from './told.ts';

let scene: Scene;
beforeAll(async () => {
  scene = await sceneOf(fernhill);
});
afterAll(() => scene.app.close());

const page = async (url: string, of = scene) => (await of.app.inject({ url })).body;

describe('an outage', () => {
  test('that lasts: its course so far and what is uncertain', async () => {
    const text = words(await page(`/outages/${scene.standings.get('order-book')?.outage?.id}`));
    expect(text).toContain('Order book has been down for 28 min.');
    expect(text).toContain(
      '09:13:05 The last good answer. 09:14:05 1 min later The first failed one: the outage begins. 09:14:10 5 s later Confirmed. Nothing listens on db.fernhill.home.arpa:5432. 09:42:00 28 min later The latest failed one. It began within the 1 min between the last good answer and the first failed one. It was seen failing for 28 min. It has lasted 29 min at most so far.',
    );
    expect(text).toContain('Notices Nobody was told.');
  });

  test('that is over, with what was told', async () => {
    const [, past] = await scene.record.outages('order-book', { from: 0, to: now });
    if (!past) throw new Error('no outage in the scene');
    await told(scene, past.id);
    const html = await page(`/outages/${past.id}`);
    const text = words(html);
    expect(html).toContain('<title>Outage of Order book · Fernhill Pottery</title>');
    expect(text).toContain('Order book was down for 9 min.');
    expect(text).toContain('The first good answer again.');
    expect(text).toContain(
      'to “phone”: Order book is down. given up 24 Nov, 14:43: it answered 404',
    );
  });

  test('a try that nothing was said to is told by its status, or as unanswered', async () => {
    const plain = await sceneOf(fernhill, { answers: false });
    const id = plain.standings.get('order-book')?.outage?.id ?? '';
    await told(plain, id, { channel: 'phone', detail: '' });
    await told(plain, id, { channel: 'chat', detail: '', status: null });
    const text = words(await page(`/outages/${id}`, plain));
    expect(text).toMatch(/to “phone”: .* given up 09:15:11: 404/);
    expect(text).toMatch(/to “chat”: .* given up 09:15:11: no answer/);
    await plain.app.close();
  });

  test('is drawn with the time around it', async () => {
    const [, past] = await scene.record.outages('order-book', { from: 0, to: now });
    const html = await page(`/outages/${past?.id}`);
    expect(html).toMatch(
      /aria-label="The outage and the time around it: answers typically in [\d.]+\u00a0ms; 1 outage; down for 9 min\."/,
    );
    expect(html.match(/<rect class="ground is-down"/g)).toHaveLength(1);
  });

  test('lists earlier ones for the same reason, and says where there was none', async () => {
    const text = words(await page(`/outages/${scene.standings.get('order-book')?.outage?.id}`));
    expect(text).toMatch(
      /Earlier ones like it 24 Nov, 14:42 9 min Port\. .* 14 Nov, 09:42 22 min Port\. /,
    );
    const [, , first] = await scene.record.outages('order-book', { from: 0, to: now });
    expect(words(await page(`/outages/${first?.id}`))).toContain(
      'Earlier ones like it It was the first for this reason.',
    );
  });

  test('that failed in more than one way tells how often in each', async () => {
    const mixed = await sceneOf(fernhill, { answers: false });
    const outage = mixed.standings.get('order-book')?.outage;
    if (!outage) throw new Error('no outage in the scene');
    for (const [seconds, reason] of [
      [1, 'timed-out'],
      [2, 'refused'],
      [3, 'timed-out'],
    ] as const) {
      const at = outage.firstFailedAt + seconds * 1_000;
      const trouble = { ...outage.trouble, reason };
      const observation = {
        at,
        outcome: 'failed',
        tookUs: 1,
        phases: {},
        trouble,
        facts: {},
      } as const;
      await mixed.record.observe({ serviceId: 'order-book', observation });
    }
    expect(words(await page(`/outages/${outage.id}`, mixed))).toContain(
      'While it lasted: 2 times timed out, 2 times refused.',
    );
    await mixed.app.close();
  });

  test('behind a cause leads there', async () => {
    const html = await page(`/outages/${scene.standings.get('shop')?.outage?.id}`);
    expect(html).toContain('Behind <a href="/services/order-book" dir="auto">Order book</a>.');
  });

  test('of a service that was never seen to answer has no beginning', async () => {
    const never = await sceneOf([
      { id: 'a', name: 'A', past: [{ state: 'down', agoMs: 10 * minuteMs }] },
    ]);
    const outage = never.standings.get('a')?.outage;
    if (!outage) throw new Error('no outage in the scene');
    await never.record.commit({
      ...nothing,
      outages: [{ ...outage, lastGoodAt: null, confirmedAt: outage.firstFailedAt }],
    });
    never.standings.set('a', { ...(never.standings.get('a') ?? neverStanding), outage: null });
    const text = words(await page(`/outages/${outage.id}`, never));
    expect(text).toContain('It was never seen to answer before, so when it began is not known.');
    expect(text).not.toContain('The last good answer.');
    expect(text).not.toContain('Confirmed.');
    await never.app.close();
  });
});

const neverStanding = {
  state: 'down',
  since: now,
  suspect: false,
  unsteady: false,
  causeId: null,
  hiddenBy: null,
  outage: null,
  last: null,
  pacedMs: 30_000,
} as const;
