/** The page of a service as it is sent. */
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { fernhill } from './fernhill.ts';
import { dayMs, type Member, minuteMs, now, type Scene, sceneOf, words } from './scene.ts';

let scene: Scene;
beforeAll(async () => {
  scene = await sceneOf(fernhill);
});
afterAll(() => scene.app.close());

const page = async (url: string, of = scene) => (await of.app.inject({ url })).body;

describe('a service', () => {
  test('says how it stands, how it is asked, and why', async () => {
    const html = await page('/services/order-book');
    expect(html).toContain('<title>Order book: down · Fernhill Pottery</title>');
    const text = words(html);
    expect(text).toContain(
      'Order book has been down since 09:14. Group Data. Asked by postgres at db.fernhill.home.arpa:5432 every 1 min. Open Order book',
    );
    expect(text).toContain('Why Port. Nothing listens on');
    expect(text).toContain('Needed by Shop down');
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
      /Outages 09:14 28 min so far Port\. Nothing listens .* 24 Nov, 14:42 9 min Port\. .* 14 Nov, 09:42 22 min Port\. /,
    );
  });

  test('that answers shows what it said of itself', async () => {
    const up = await sceneOf([
      { ...(fernhill[0] as Member), past: [{ state: 'up', agoMs: dayMs }] },
    ]);
    const text = words(await page('/services/order-book', up));
    expect(text).toContain('What it said of itself: server version 15.18 read only no');
    expect(text).toContain('Note Container "orders-db".');
    await up.app.close();
  });

  test('says how long its answers took, as a whole and phase by phase', async () => {
    const text = words(await page('/services/order-book'));
    expect(text).toContain('1,396 answers; 37 failures.');
    expect(text).toMatch(
      /Of 100 answers took at most 50 95 99 whole .* [\d.]+ ms [\d.]+ ms [\d.]+ ms resolve its name into an address 0\.\d+ ms 0\.\d+ ms 0\.\d+ ms connect to its port/,
    );
    const late = words(await page('/services/photo-archive'));
    expect(late).toMatch(/1,433 answers, \d+ of them with reservations\./);
  });

  test.each([
    ['', 'Last 24 hours', 'day', 8],
    ['?range=week', 'Last 7 days', 'week', 7],
    ['?range=month', 'Last 30 days', 'month', 4],
    ['?range=year', 'Last 365 days', 'year', 12],
    ['?range=eternity', 'Last 24 hours', 'day', 8],
    ['?range=week&range=year', 'Last 24 hours', 'day', 8],
  ])('%s shows the %s', async (query, title, here, lines) => {
    const html = await page(`/services/order-book${query}`);
    expect(html).toContain(`aria-label="${title}: `);
    const current = /<a class="alone" href="([^"]+)" aria-current="page">(\w+)<\/a>/.exec(html);
    expect(current?.slice(1)).toEqual([
      `/services/order-book${here === 'day' ? '' : `?range=${here}`}`,
      here,
    ]);
    expect(html.match(/<line class="(hair|begins)" x1=/g)).toHaveLength(lines);
  });

  test('tells when it said something else than before', async () => {
    const { record, app } = await sceneOf([
      {
        ...(fernhill[1] as Member),
        past: [{ state: 'up', agoMs: dayMs }],
        facts: { serverVersion: '2.0' },
      },
    ]);
    const told = async (minutesLater: number, facts: Record<string, string | boolean>) => {
      const at = now + minutesLater * minuteMs;
      const observation = {
        at,
        outcome: 'answered',
        tookUs: 1,
        phases: {},
        trouble: null,
        facts,
      } as const;
      await record.observe({ serviceId: 'kiln-logger', observation });
    };
    await told(-4, { serverVersion: '2.1', readOnly: true });
    await told(-3, {});
    await told(-2, { serverVersion: '2.1', readOnly: true });
    await told(-1, { readOnly: false });
    const text = words((await app.inject({ url: '/services/kiln-logger' })).body);
    expect(text).toContain(
      'When that changed: 09:41:10 server version 2.1, no longer told 09:41:10 read only yes: no 09:38:10 server version 2.0: 2.1 09:38:10 read only first told: yes',
    );
    await app.close();
  });

  test('with an objective says what is left of its budget, and how fast it goes', async () => {
    const member = { ...(fernhill[0] as Member), objective: 0.995 };
    const near = await sceneOf([member]);
    const text = words(await page('/services/order-book', near));
    // 0.5 % of 30 days are 3 h 36 min; 28, 9 and 22 min were down, each with half of what is uncertain.
    expect(text).toContain('Objective 99.5 % allows 3 h 36 min of down time');
    expect(text).toMatch(/Left of it 2 h 36 min 28 % are used/);
    // 28.5 of 60 min, against 0.5 % of them.
    expect(text).toMatch(/Used up at present 9\d × in the last hour In the last day: 5\.\d ×/);
    await near.app.close();
    const far = await sceneOf([{ ...member, objective: 0.9999 }]);
    expect(words(await page('/services/order-book', far))).toMatch(/Overdrawn by 5\d min/);
    await far.app.close();
    expect(words(await page('/services/kiln-logger'))).not.toContain('Objective');
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

test('a certificate that nears its end is said beside the state, here and on the roll, and changes neither', async () => {
  const facts = {
    certificateEndsAt: '2026-12-08T09:42:10.000Z',
    certificateDaysLeft: 13,
    certificateWarn: true,
  };
  const shown = (more: object): Member => ({
    ...(fernhill[0] as Member),
    past: [{ state: 'up', agoMs: dayMs }],
    facts: { ...facts, ...more },
  });
  const near = await sceneOf([shown({})]);
  for (const url of ['/', '/services/order-book']) {
    const text = words(await page(url, near));
    expect(text).toContain('certificate ends in 13 days');
    expect(text).toMatch(/up since|has been up/);
  }
  expect(words(await page('/services/order-book', near))).toContain(
    'certificate ends at 8 Dec, 09:42',
  );
  await near.app.close();
  const fresh = await sceneOf([shown({ certificateWarn: false })]);
  expect(words(await page('/', fresh))).not.toContain('certificate');
  await fresh.app.close();
  const over = await sceneOf([shown({ certificateEndsAt: '2026-11-25T09:42:10.000Z' })]);
  expect(words(await page('/', over))).toContain('certificate has ended');
  await over.app.close();
});
