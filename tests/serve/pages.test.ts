/** The pages as they are sent: what they say, where they lead, and that no text in them becomes markup. */
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { instantText } from '../../src/base/instants.ts';
import { fernhill } from './fernhill.ts';
import {
  dayMs,
  type Member,
  minuteMs,
  nothing,
  now,
  refused,
  type Scene,
  sceneOf,
  words,
} from './scene.ts';

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
      'Fernhill Pottery Wednesday 25 November 2026, 09:42:10 Order book has been down since 09:14, and Shop with it; 6 others answer, 1 of them with reservations; 1 is not observed.',
    );
  });

  test('what is wrong: since when, layer and reason, where to look, the note, the ways', async () => {
    expect(words(await page('/'))).toContain(
      '09:14 for 28 min Order book down Port Nothing listens on db.fernhill.home.arpa:5432. Look Is the service started? Look at its container or unit and its log. Note Container "orders-db". Restart with the compose file in /srv/orders. If the disk is full, look at /srv/orders/wal first. Down with it: Shop . Open Order book Details This outage',
    );
  });

  test('what is seen through a gateway that is gone names the gateway, not what was seen', async () => {
    const standing = scene.standings.get('remote-access');
    if (!standing) throw new Error('no such service in the scene');
    scene.standings.set('remote-access', { ...standing, hiddenBy: 'file-share' });
    const text = words(await page('/'));
    scene.standings.set('remote-access', standing);
    expect(text).toContain(
      'Remote access not observed Seen Only through File share, which is down: nobody can tell how it is. Look Look at File share first.',
    );
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

  test('a row: name, state, since, last answer, availability with its bounds and mean time to restoration', async () => {
    const text = words(await page('/'));
    expect(text).toContain(
      'Order book postgres , details down since 09:14 09:42:00 failed, took 0.41 ms 99.86 % 99.85 to 99.86 % 3 outages, mean 16 min',
    );
    expect(text).toContain('down since 09:14 behind Order book');
    expect(text).toContain('not observed since 06:42 09:42:00 silent, took 5.00 s 100 % no outage');
  });

  test('a name leads to the service itself, or to its page where there is no link; the page is always there', async () => {
    const html = await page('/');
    expect(html).toContain(
      '<a class="name" href="https://orders.fernhill.home.arpa/">Order book</a>',
    );
    expect(html).toContain('<a class="name" href="/services/kiln-logger">Kiln logger</a>');
    expect(html).toContain('href="/services/order-book" aria-label="Details of Order book"');
  });

  test('groups come in the order of the configuration', async () => {
    const groups = [...(await page('/')).matchAll(/<th scope="rowgroup"[^>]*>([^<]+)</g)];
    expect(groups.map(([, name]) => name)).toEqual(['Data', 'Studio', 'House']);
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
    expect(words(html)).toContain('not observed not asked yet nothing observed');
    expect(html).not.toContain('id="wrong"');
    await Promise.all([empty.app.close(), fresh.app.close()]);
  });
});

describe('Rollcall itself', () => {
  test('while all is well it says so at the end', async () => {
    const text = words(await page('/'));
    expect(text).toContain('About Rollcall itself The record was last written at 09:41:58');
    expect(text).not.toContain('More below');
    expect(text.indexOf('About Rollcall itself')).toBeGreaterThan(text.indexOf('Music in'));
  });

  test('the gravest that is wrong stands before the roll, all of it and undelivered notices below', async () => {
    const letter = {
      noticeId: '1',
      channel: 'chat',
      at: now - dayMs,
      summary: 'Shop is down.',
      detail: '404 no such hook',
    };
    const phone = {
      name: 'phone',
      lastDeliveredAt: null,
      lastFailure: { at: now - minuteMs, detail: 'it answered 500' },
      waitingCount: 2,
    };
    const troubled = await sceneOf(fernhill, {
      answers: false,
      tells: { channels: [phone], deadLetters: [letter] },
      report: { troubles: ['The configuration was not read again: line 4: unknown key "prob".'] },
    });
    troubled.record.breakWrites('no space is left on the disk');
    const text = words(await page('/', troubled));
    const [above = '', below = ''] = text.split('Music in');
    expect(above).toMatch(
      /Rollcall itself The record cannot be written: no space is left on the disk\. Asking and telling go on; [^.]+\. More below/,
    );
    expect(above).not.toMatch(/The configuration was|The channel|to “chat”/);
    const itself = below.slice(below.indexOf('About Rollcall itself'));
    expect(itself).toMatch(
      /^About Rollcall itself The record cannot be written: no space is left on the disk\. Asking and telling go on;/,
    );
    expect(itself).toContain('The configuration was not read again: line 4: unknown key "prob".');
    expect(itself).toContain(
      'The channel “phone” did not take a notice at 09:41:10: it answered 500; 2 notices wait for another try.',
    );
    expect(itself).toContain(
      '24 Nov, 09:42 to “chat”: Shop is down. The last try ended with: 404 no such hook',
    );
    await troubled.app.close();
  });

  test('where nothing else is wrong, undelivered notices are counted before the roll', async () => {
    const letter = (noticeId: string) => ({
      noticeId,
      channel: 'chat',
      at: now - dayMs,
      summary: `Shop is down, notice ${noticeId}.`,
      detail: '',
    });
    const troubled = await sceneOf(fernhill, {
      answers: false,
      tells: { channels: [], deadLetters: [letter('1'), letter('2')] },
    });
    const html = await page('/', troubled);
    const [above = '', below = ''] = words(html).split('Music in');
    expect(above).toContain('Rollcall itself 2 notices could not be told. More below');
    expect(above).not.toContain('notice 1');
    expect(below).toContain('What could not be told:');
    expect(html).toMatch(/href="#itself".*id="itself"/s);
    await troubled.app.close();
  });
});

describe('a service', () => {
  test('says how it stands, how it is asked, and why', async () => {
    const html = await page('/services/order-book');
    expect(html).toContain('<title>Order book: down · Fernhill Pottery</title>');
    const text = words(html);
    expect(text).toContain(
      'Order book has been down since 09:14. Group Data. Asked by postgres at db.fernhill.home.arpa:5432 every 1 min. Open Order book',
    );
    expect(text).toContain('Why Port Nothing listens on');
    expect(text).toContain('Needed by Shop');
  });

  test('says what its figures mean, and how short an outage can be missed', async () => {
    const text = words(await page('/services/order-book'));
    expect(text).toContain('Availability 99.86 % 99.85 to 99.86 %');
    expect(text).toContain('Mean time to restoration 16 min');
    expect(text).toContain(
      'an outage of 70 s or longer is surely seen; a shorter one may be missed.',
    );
  });

  test('lists its outages, newest first', async () => {
    const text = words(await page('/services/order-book'));
    expect(text).toMatch(
      /Outages 09:14 28 min so far Port: Nothing listens .* 24 Nov, 14:42 9 min Port: .* 14 Nov, 09:42 22 min Port: /,
    );
  });

  test('that answers shows its phases and what it said of itself', async () => {
    const up = await sceneOf([
      { ...(fernhill[0] as Member), past: [{ state: 'up', agoMs: dayMs }] },
    ]);
    const text = words(await page('/services/order-book', up));
    expect(text).toContain('What it said of itself: server version 15.18 read only no');
    expect(text).toMatch(
      /resolve its name into an address 0\.\d+ ms connect to its port 0\.\d+ ms speak/,
    );
    expect(text).toContain('Note Container "orders-db".');
    await up.app.close();
  });

  test.each([
    ['/services/photo-archive', 'Photo archive has been degraded since 08:07.'],
    ['/services/remote-access', 'Whether Remote access is up, nobody can tell since 06:42.'],
    ['/services/name-server', 'Name server has been up since 16 Oct, 10:42.'],
    ['/services/shop', 'It needs Order book, which is down. It answers 503 Service Unavailable.'],
  ])('%s says: %s', async (url, sentence) => {
    expect(words(await page(url))).toContain(sentence);
  });

  test('with an id that needs encoding has a page all the same', async () => {
    const odd = await sceneOf([
      { id: 'küche/1', name: 'Küche', past: [{ state: 'up', agoMs: dayMs }] },
    ]);
    expect(await page('/', odd)).toContain('href="/services/k%C3%BCche%2F1"');
    expect(words(await page('/services/k%C3%BCche%2F1', odd))).toContain('Küche has been up since');
    await odd.app.close();
  });

  test('that does not exist has no page', async () => {
    const answer = await scene.app.inject({
      url: '/services/nobody',
      headers: { accept: 'text/html' },
    });
    expect(answer.statusCode).toBe(404);
    expect(words(answer.body)).toContain('No service of this name is on the roll. To the roll');
  });
});

describe('an outage', () => {
  test('that lasts: its course so far and what is uncertain', async () => {
    const text = words(await page(`/outages/${scene.standings.get('order-book')?.outage?.id}`));
    expect(text).toContain('Order book has been down for 28 min.');
    expect(text).toContain(
      'Its course 09:13:05 The last good answer. 09:14:05 The first failed one: the outage begins. 09:14:10 Confirmed. Nothing listens on db.fernhill.home.arpa:5432. 09:42:00 The latest failed one. It began within the 1 min between the last good answer and the first failed one. It was seen failing for 28 min. It has lasted 29 min at most so far.',
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

  test('behind a cause leads there', async () => {
    const html = await page(`/outages/${scene.standings.get('shop')?.outage?.id}`);
    expect(html).toContain('Behind <a href="/services/order-book">Order book</a>.');
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

describe('hostile text', () => {
  const evil = '<script>alert(1)</script><img src=x onerror=alert(1)>" onmouseover="alert(1)';
  const members: Member[] = [
    {
      id: 'evil',
      name: evil,
      group: evil,
      kind: 'http',
      where: evil,
      open: 'javascript:alert(1)',
      note: `${evil}\n${evil}`,
      facts: { [evil]: evil },
      past: [
        { state: 'up', agoMs: 2 * dayMs },
        { state: 'down', agoMs: 60 * minuteMs, trouble: { ...refused, detail: evil, hint: evil } },
      ],
    },
    {
      id: 'near',
      name: `${evil} ${'long '.repeat(100)}`,
      needs: ['evil'],
      facts: { [evil]: evil },
      past: [{ state: 'up', agoMs: 60 * minuteMs }],
    },
  ];

  test('stays text on every page', async () => {
    const hostile = await sceneOf(members, {
      board: { title: evil, timezone: 'UTC', listen: { host: '127.0.0.1', port: 0 } },
      report: { troubles: [evil] },
      tells: {
        channels: [
          {
            name: evil,
            lastDeliveredAt: null,
            lastFailure: { at: now, detail: evil },
            waitingCount: 1,
          },
        ],
        deadLetters: [{ noticeId: '1', channel: evil, at: now, summary: evil, detail: evil }],
      },
    });
    const outage = hostile.standings.get('evil')?.outage?.id ?? '';
    await told(hostile, outage, { channel: evil, summary: evil, detail: evil });
    for (const url of [
      '/',
      '/services/evil',
      '/services/near',
      `/outages/${outage}`,
      `/${encodeURIComponent(evil)}`,
    ]) {
      const answer = await hostile.app.inject({ url, headers: { accept: 'text/html' } });
      expect(answer.body).toMatch(/^<!doctype html>/);
      expect(answer.body).not.toMatch(/<script|<img|<[^>]*\son[a-z]+=/i);
      expect(answer.body).not.toMatch(/(href|src)="?\s*javascript:/i);
      expect(answer.body).not.toMatch(/<[^>]*\sstyle=/i);
      expect(answer.body).toContain('&lt;script>');
    }
    await hostile.app.close();
  });

  test('is cut where it is long', async () => {
    const hostile = await sceneOf(members, { answers: false });
    expect(words(await page('/', hostile))).not.toContain('long '.repeat(20));
    await hostile.app.close();
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

/** A notice that one channel refused for good. */
async function told(
  of: Scene,
  outageId: string,
  {
    channel = 'phone',
    summary = 'Order book is down.',
    detail = 'it answered 404',
    status = 404 as number | null,
  } = {},
): Promise<void> {
  const outage = await of.record.outage(outageId);
  const at = (outage?.confirmedAt ?? now) + 1_000;
  const id = `notice of ${outageId} to ${channel}`;
  const notice = {
    id,
    type: 'rollcall.service.down',
    at,
    serviceId: outage?.serviceId ?? null,
    outageId,
    notBefore: at,
    data: { summary },
    channels: [channel],
  };
  await of.record.commit({ ...nothing, notices: [{ kind: 'add', notice }] });
  await of.record.claim(id, channel, at);
  await of.record.attempted({
    noticeId: id,
    channel,
    at: Date.parse(instantText(at)) + 60_000,
    tookMs: 12,
    status,
    detail,
    next: { state: 'dead' },
  });
}
