/** The roll as it is sent: what it says, where it leads, and what a long one leaves out. */
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { fernhill } from './fernhill.ts';
import { dayMs, hourMs, type Member, minuteMs, now, type Scene, sceneOf, words } from './scene.ts';

let scene: Scene;
beforeAll(async () => {
  scene = await sceneOf(fernhill);
});
afterAll(() => scene.app.close());

const page = async (url: string, of = scene) => (await of.app.inject({ url })).body;

describe('the roll', () => {
  test('the title of the tab carries the state', async () => {
    expect(await page('/')).toContain('<title>2 down · Fernhill Pottery</title>');
  });

  test('it begins with the date and how things are', async () => {
    expect(words(await page('/'))).toContain(
      'Fernhill Pottery Roll Month About Wednesday 25 November 2026, 09:42:10 Order book has been down since 09:14, and Shop with it; 6 others answer, 1 of them with reservations; 1 is not observed.',
    );
  });

  test('what is wrong: since when, layer and reason, where to look, the note, the ways', async () => {
    expect(words(await page('/'))).toContain(
      '09:14 for 28 min Order book down Port. Nothing listens on db.fernhill.home.arpa:5432. Is the service started? Look at its container or unit and its log. Container "orders-db". Restart with the compose file in /srv/orders. If the disk is full, look at /srv/orders/wal first. Down with it: Shop .',
    );
  });

  test('what is seen through a gateway that is gone names the gateway, not what was seen', async () => {
    const standing = scene.standings.get('remote-access');
    if (!standing) throw new Error('no such service in the scene');
    scene.standings.set('remote-access', { ...standing, hiddenBy: 'file-share' });
    const text = words(await page('/'));
    scene.standings.set('remote-access', standing);
    expect(text).toContain(
      'Remote access not observed Only through File share, which is down: nobody can tell how it is. Look at File share first.',
    );
  });

  test('what changes too often says so where it stands, on the roll, its own page and to programs', async () => {
    const standing = scene.standings.get('kiln-logger');
    if (!standing) throw new Error('no such service in the scene');
    scene.standings.set('kiln-logger', { ...standing, unsteady: true });
    const [roll, own] = [words(await page('/')), words(await page('/services/kiln-logger'))];
    const body = (await scene.app.inject({ url: '/api/v1/services/kiln-logger' })).json();
    scene.standings.set('kiln-logger', standing);
    expect(roll).toMatch(
      /Kiln logger mqtt up since [\w ,:]+, unsteady, so single changes are not told/,
    );
    expect(own).toContain('Now: unsteady, so single changes are not told.');
    expect(body).toMatchObject({ state: 'up', unsteady: true });
  });

  test('what is down by inference says from what that is inferred', async () => {
    const standing = scene.standings.get('order-book');
    if (!standing?.outage) throw new Error('no outage in the scene');
    const trouble = {
      ...standing.outage.trouble,
      reason: 'silent',
      detail: 'nothing came back',
    } as const;
    scene.standings.set('order-book', { ...standing, outage: { ...standing.outage, trouble } });
    const text = words(await page('/'));
    scene.standings.set('order-book', standing);
    expect(text).toMatch(
      /Nothing came back\. It answered until \d\d:\d\d and has been silent since: that it is down is inferred\./,
    );
  });

  test('what is down behind a cause stands with the cause, and not again by itself', async () => {
    const html = await page('/');
    expect(html).not.toContain('id="wrong-shop"');
    expect([...html.matchAll(/id="wrong-([\w-]+)"/g)].map(([, id]) => id)).toEqual([
      'order-book',
      'photo-archive',
      'remote-access',
    ]);
  });

  test('a lane: name, state, since, last answer, availability with its bounds and mean time to restoration', async () => {
    const text = words(await page('/'));
    expect(text).toContain(
      'Order book postgres down since 09:14 Details of Order book. failed 09:42:00 30 days: 99.86 % 99.85 to 99.86 % 3 outages, mean 16 min',
    );
    expect(text).toContain('down since 09:14 , behind Order book');
    expect(text).toContain(
      'not observed since 06:42 Details of Remote access. silent 09:42:00 30 days: 100 % no outage',
    );
    // Late, but an answer: how long it took says more than that.
    expect(text).toMatch(/degraded since 08:07 Details of Photo archive\. \d+ ms 09:42:00/);
  });

  test('a name leads to the service itself, or to its page where there is no link; the strip always to its page', async () => {
    const html = await page('/');
    expect(html).toContain(
      '<a class="name" href="https://orders.fernhill.home.arpa/" dir="auto">Order book</a>',
    );
    expect(html).toContain(
      '<a class="name" href="/services/kiln-logger" dir="auto">Kiln logger</a>',
    );
    expect(html).toContain('<a class="day" href="/services/order-book">');
  });

  test('groups come in the order of the configuration, unfolded, with how many are not up', async () => {
    const html = await page('/');
    expect(summaries(html)).toEqual([
      'open Data 2 services, 1 down all up 99.86 %',
      'open Studio 3 services, 1 down, 1 degraded all up 99.93 %',
      'open House 4 services, 1 not observed all up 100 %',
    ]);
  });

  test('all strips share one sheet, whose scale has room for each', async () => {
    const html = await page('/');
    expect(html.match(/<symbol id="ruling">/g)).toHaveLength(1);
    expect(html.match(/<use href="#ruling"/g)).toHaveLength(9);
    const labels = [...html.matchAll(/class="printed latency"[^>]*>([^<]+)</g)];
    expect(labels.map(([, label]) => label)).toEqual(['100\u00a0µs', '10\u00a0ms', '1\u00a0s']);
  });

  test('a short roll has no search field', async () => {
    expect(await page('/')).not.toContain('<form');
  });

  test('instants are for machines too', async () => {
    expect(await page('/')).toContain('<time datetime="2026-11-25T09:14:05.000Z">09:14</time>');
  });

  test('an empty roll, and one that has just begun, are said to be', async () => {
    const empty = await sceneOf([]);
    expect(words(await page('/', empty))).toContain('No service is on the roll.');
    const fresh = await sceneOf([{ id: 'shop', name: 'Shop', past: [] }]);
    const html = await page('/', fresh);
    expect(words(html)).toContain('Shop is being asked for the first time.');
    expect(words(html)).toContain(
      'not observed , not asked yet Details of Shop. 30 days: nothing observed',
    );
    expect(html).not.toContain('id="wrong"');
    await Promise.all([empty.app.close(), fresh.app.close()]);
  });
});

describe('a long roll', () => {
  const states: readonly Member['past'][] = [
    [{ state: 'up', agoMs: 2 * hourMs }],
    [{ state: 'up', agoMs: 2 * hourMs }],
    [{ state: 'degraded', agoMs: 2 * hourMs }],
  ];
  const many = (count: number): Member[] =>
    Array.from({ length: count }, (_, index) => ({
      id: `kiln-${index}`,
      name: `Kiln ${index}`,
      group: `Shed ${index % 3}`,
      kind: index % 2 === 0 ? 'http' : 'tcp',
      open: index === 0 ? 'http://kiln.fernhill.home.arpa/' : null,
      past: states[index % 3] ?? [],
    }));
  let long: Scene;
  beforeAll(async () => {
    long = await sceneOf(many(150), { answers: false });
  });
  afterAll(() => long.app.close());

  test('unfolds the groups in which something is not up', async () => {
    expect(summaries(await page('/', long))).toEqual([
      'folded Shed 0 50 services all up 100 %',
      'folded Shed 1 50 services all up 100 %',
      'open Shed 2 50 services, 50 degraded all up 100 %',
    ]);
  });

  test('draws strips where something is not up; the others lead to their details and to their group', async () => {
    const html = await page('/', long);
    expect(html.match(/<a class="day"/g)).toHaveLength(50);
    expect(words(html)).toContain('Kiln 0 http up since 07:42 , details');
    expect(html).toContain('href="/?group=Shed%200"');
    expect(html).not.toContain('href="/?group=Shed%202"');
  });

  test('of one group shows all strips', async () => {
    const html = await page('/?group=Shed%200', long);
    expect(html.match(/<a class="day"/g)).toHaveLength(50);
    expect(words(html)).toContain('50 services of 150 in Shed 0. Show all');
    expect(summaries(html)).toEqual(['open Shed 0 50 services all up 100 %']);
    // What is wrong elsewhere is still said, the first of it at length.
    expect(words(html)).toContain('Kiln 2 degraded');
    expect(html.match(/<article/g)).toHaveLength(12);
    expect(words(html)).toContain('38 more are marked on the roll.');
  });

  test.each([
    ['kiln 14', 12],
    ['SHED', 150],
    ['tcp', 75],
    ['kiln http 7', 5],
    ['degraded', 50],
    ['kíln 70', 1],
    ['nothing', 0],
  ])('finds “%s” %i times', async (find, count) => {
    const html = await page(`/?find=${encodeURIComponent(find)}`, long);
    expect(html.match(/<li class="lane"/g)?.length ?? 0).toBe(count);
    expect(html).toContain(`value="${find}"`);
  });

  test.each(['/?find=a&find=b', '/?group=', '/?find=', '/?group[]=x', '/?other=1'])(
    '%s is no search, and no error',
    async (url) => {
      const answer = await long.app.inject({ url });
      expect(answer.statusCode).toBe(200);
      expect(answer.body.match(/<li class="lane"/g)).toHaveLength(150);
    },
  );
});

describe('Rollcall itself', () => {
  const letter = (noticeId: string) => ({
    noticeId,
    channel: 'chat',
    at: now - dayMs,
    summary: `Shop is down, notice ${noticeId}.`,
    detail: '404 no such hook',
  });
  const phone = {
    name: 'phone',
    lastDeliveredAt: null,
    lastFailure: { at: now - minuteMs, detail: 'it answered 500' },
    waitingCount: 2,
  };

  test('is not spoken of on the roll while all is well', async () => {
    expect(words(await page('/'))).not.toContain('Rollcall itself');
  });

  test('the gravest that is wrong stands before the roll, and leads to the rest', async () => {
    const troubled = await sceneOf(fernhill, {
      answers: false,
      tells: { channels: [phone], deadLetters: [letter('1')] },
      report: { troubles: ['The configuration was not read again: line 4: unknown key "prob".'] },
    });
    troubled.record.breakWrites('no space is left on the disk');
    const html = await page('/', troubled);
    const text = words(html);
    expect(text).toMatch(
      /Rollcall itself The record cannot be written: no space is left on the disk\. Asking and telling go on; [^.]+\. More about it/,
    );
    expect(html).toContain('<a href="/about">More about it</a>');
    expect(text).not.toMatch(/The configuration was|The channel|to “chat”/);
    expect(text.indexOf('cannot be written')).toBeLessThan(text.indexOf('Last answer'));
    await troubled.app.close();
  });

  test('where nothing else is wrong, undelivered notices are counted', async () => {
    const troubled = await sceneOf(fernhill, {
      answers: false,
      tells: { channels: [], deadLetters: [letter('1'), letter('2')] },
    });
    const text = words(await page('/', troubled));
    expect(text).toContain('Rollcall itself 2 notices could not be told. More about it');
    expect(text).not.toContain('notice 1');
    await troubled.app.close();
  });
});

/** `open Data 2 services`. */
function summaries(html: string): string[] {
  return [...html.matchAll(/<details class="group"( open)?><summary>(.*?)<\/summary>/gs)].map(
    ([, open, inner = '']) => `${open ? 'open' : 'folded'} ${words(inner).trim()}`,
  );
}
