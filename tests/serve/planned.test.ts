/** Planned work on the board: what is shown of it where, the owner's forms, the API, and the calendar. */
import ICAL from 'ical.js';
import { afterAll, describe, expect, test } from 'vitest';
import { createHousehold } from '../../src/serve/household.ts';
import { get, guardedBoards, post, readToken, signedIn, tokenOn } from './guarded.ts';
import { past, plannedSource, running, toCome } from './planned-source.ts';
import { hourMs, type Member, minuteMs, nothing, now, type SceneOptions, words } from './scene.ts';

const { board, close } = guardedBoards();
afterAll(close);

const members: readonly Member[] = [
  {
    id: 'order-book',
    name: 'Order book',
    past: [
      { state: 'up', agoMs: 30 * hourMs },
      { state: 'down', agoMs: 10 * minuteMs },
    ],
  },
  { id: 'shop', name: 'Shop', past: [{ state: 'up', agoMs: 30 * hourMs }] },
];

/** Everybody reads. */
const open = (options: SceneOptions = {}) =>
  board({ access: { passphrase: null, tokens: [], key: Buffer.alloc(32) }, ...options }, members);

async function signed(planned = plannedSource()) {
  const scene = await board({ planned }, members);
  const cookie = await signedIn(scene);
  const token = await tokenOn(scene, cookie, '/planned');
  const send = (url: string, fields: Record<string, string>) =>
    post(scene, url, { token, ...fields }, { cookie });
  return { scene, cookie, token, planned, send };
}

describe('what is meant to be', () => {
  test('is not wrong: the sentence says it apart, and the roll marks it', async () => {
    const scene = await open({ planned: plannedSource() });
    const page = words((await get(scene, '/')).body);
    expect(page).toContain(
      'Shop answers. Order book is under planned work. Planned: Sunday updates until 10:15.',
    );
    expect(page).toContain('planned until 10:15');
    expect(page).toContain('To come: Planned work at 14:42 for 1 h.');
    expect(page).not.toContain('What is wrong');
  });

  test('without it the same is wrong', async () => {
    const scene = await open({ planned: plannedSource([]) });
    const page = words((await get(scene, '/')).body);
    expect(page).toContain('Order book has been down since 09:32');
    expect(page).not.toContain('lanned work');
  });

  test('is counted and flagged for programs, its state beside it', async () => {
    const scene = await open({ planned: plannedSource() });
    expect((await get(scene, '/api/v1/roll')).json()).toMatchObject({
      counts: { up: 1, down: 1, planned: 1 },
      trouble: [],
    });
    const { services } = (await get(scene, '/api/v1/services')).json<{ services: object[] }>();
    expect(services).toMatchObject([
      { id: 'order-book', state: 'down', planned: true },
      { id: 'shop', planned: false },
    ]);
    const metrics = (await get(scene, '/metrics')).body;
    expect(metrics).toContain('rollcall_service_planned{service="order-book"} 1');
    expect(metrics).toContain('rollcall_service_planned{service="shop"} 0');
  });

  test('stands on the page of its service, the next ones beforehand', async () => {
    const scene = await open({ planned: plannedSource() });
    const page = words((await get(scene, '/services/order-book')).body);
    expect(page).toContain('Sunday updates: 09:30 to 10:15.');
    expect(page).toContain('Planned work: 14:42 to 15:42.');
    const shop = words((await get(scene, '/services/shop')).body);
    expect(shop).not.toContain('Sunday updates: 09:30');
    expect(shop).toContain('Planned work: 14:42 to 15:42.');
  });

  test('is shaded on the chart', async () => {
    const scene = await open({ planned: plannedSource() });
    await scene.record.commit({ ...nothing, planned: [{ ...running, from: now - 2 * hourMs }] });
    const page = (await get(scene, '/services/order-book')).body;
    expect(page).toContain('planned for 2');
    const shop = (await get(scene, '/services/shop')).body;
    expect(shop).not.toMatch(/; planned for/);
  });

  test('is a word for the household, and tells it nothing else', async () => {
    const scene = await open({ planned: plannedSource() });
    const household = await createHousehold(scene.options, '127.0.0.1');
    const html = (await household.inject({ url: '/', headers: { host: 'localhost' } })).body;
    await household.close();
    expect(words(html)).toContain('Shop answers. Order book is under planned work.');
    expect(words(html)).toContain('Order book down (planned)');
    expect(html).not.toMatch(/Sunday|disk|10:15/);
  });
});

describe('the page of planned work', () => {
  test('says what is under way, to come and past, to everybody who reads', async () => {
    const scene = await open({ planned: plannedSource() });
    const page = words((await get(scene, '/planned')).body);
    expect(page).toContain('1 planned window is under way; 1 window to come within thirty days.');
    expect(page).toContain('Sunday updates: 09:30 to 10:15 , 45 min. On Order book .');
    expect(page).toContain('Planned work: 14:42 to 15:42 , 1 h. On every service.');
    expect(page).toContain('&lt;b>New&lt;/b> disk');
    expect(page).toContain('Sunday updates: 23 Nov, 08:42 to 23 Nov, 09:42');
    expect(page).not.toContain('Plan it');
    expect(page).not.toContain('End now');
  });

  test('is led to from every page where there can be such work, and nowhere else', async () => {
    const planned = await open({ planned: plannedSource([]) });
    expect((await get(planned, '/about')).body).toContain('href="/planned"');
    const without = await open();
    expect((await get(without, '/about')).body).not.toContain('/planned"');
    expect((await get(without, '/planned')).statusCode).toBe(404);
  });

  test('is not shown to strangers', async () => {
    const { scene } = await signed();
    for (const url of ['/planned', '/planned.ics', '/api/v1/planned']) {
      expect([303, 401]).toContain((await get(scene, url)).statusCode);
      expect((await get(scene, url)).body).not.toContain('Sunday');
    }
    const headers = { authorization: `Bearer ${readToken}` };
    expect((await get(scene, '/planned.ics', { headers })).body).toContain('Sunday');
  });
});

describe('the owner', () => {
  test('plans from now on, for a while, for some services, and why', async () => {
    const { send, planned } = await signed();
    const fields = { lasts: '45m', from: '', to: '', why: '  new\u0007 disk ', service: 'shop' };
    const answer = await send('/planned', fields);
    expect([answer.statusCode, answer.headers.location]).toEqual([303, '/planned']);
    expect(planned.asked).toEqual([
      { why: 'new disk', from: now, to: now + 45 * minuteMs, serviceIds: ['shop'] },
    ]);
  });

  test('plans from one time of day to another, on the clock of the board', async () => {
    const { send, planned } = await signed();
    await send('/planned', {
      lasts: '45m',
      from: '2026-07-05T20:00',
      to: '2027-07-05T21:30',
      why: '',
    });
    expect(planned.asked).toEqual([
      {
        why: null,
        from: Date.parse('2026-07-05T19:00:00Z'),
        to: Date.parse('2027-07-05T20:30:00Z'),
        serviceIds: null,
      },
    ]);
  });

  test.each([
    [{ lasts: 'soon' }, 400, 'how long it lasts'],
    [{ lasts: '1s' }, 400, 'a minute at least'],
    [{ lasts: '1h', from: 'noon' }, 400, 'a day and a time'],
    [{ from: '2026-12-05T20:00', to: '2026-12-05T19:00' }, 400, 'end after it begins'],
    [{ from: '2026-11-01T20:00', to: '2026-11-01T21:00' }, 400, 'over already'],
    [{ lasts: '1h', service: 'nas' }, 404, 'No service of this name'],
  ])('is told what is wrong with %j', async (fields, status, text) => {
    const { send } = await signed();
    const answer = await send('/planned', fields);
    expect([answer.statusCode, answer.body]).toEqual([status, expect.stringContaining(text)]);
  });

  test('ends what runs, and takes back what was declared, by forms of their own', async () => {
    const { scene, cookie, send, planned } = await signed();
    const page = (await get(scene, '/planned', { cookie })).body;
    const ends = [...page.matchAll(/action="(\/planned\/[^"]+)"/g)].map(
      ([, action]) => action ?? '',
    );
    expect(ends).toHaveLength(2);
    for (const action of ends) expect((await send(action, {})).statusCode).toBe(303);
    expect(planned.ended).toEqual([running.id, toCome.id]);
  });

  test('alone may: no stranger, no program, no form from elsewhere', async () => {
    const { scene, cookie, token, planned } = await signed();
    const fields = { lasts: '1h', token };
    const tries = [
      post(scene, '/planned', fields),
      post(scene, '/planned', fields, { headers: { authorization: `Bearer ${readToken}` } }),
      post(scene, '/planned', fields, { cookie, headers: { origin: 'http://elsewhere.example' } }),
      post(scene, '/planned', { lasts: '1h' }, { cookie }),
      post(scene, `/planned/${running.id}/end`, { token: 'x' }, { cookie }),
    ];
    for (const answer of await Promise.all(tries)) expect([401, 403]).toContain(answer.statusCode);
    expect([planned.asked, planned.ended]).toEqual([[], []]);
  });

  test('cannot knock as often as a pressed-down key does', async () => {
    const { send } = await signed();
    const statuses: number[] = [];
    for (let times = 0; times < 8; times++) {
      statuses.push((await send('/planned', { lasts: '1h' })).statusCode);
    }
    expect(statuses.at(-1)).toBe(429);
  });
});

test('programs read what runs, what is to come and what was', async () => {
  const scene = await open({ planned: plannedSource() });
  expect((await get(scene, '/api/v1/planned')).json()).toEqual({
    running: [
      {
        id: running.id,
        name: 'Sunday updates',
        why: null,
        from: '2026-11-25T09:30:10.000Z',
        to: '2026-11-25T10:15:10.000Z',
        services: ['order-book'],
        origin: 'schedule',
      },
    ],
    toCome: [expect.objectContaining({ why: toCome.why, services: null, origin: 'declared' })],
    past: [expect.objectContaining({ id: past.id })],
  });
});

describe('the calendar, as another program reads it', () => {
  async function events() {
    const scene = await open({ planned: plannedSource() });
    const answer = await get(scene, '/planned.ics');
    expect(answer.headers['content-type']).toBe('text/calendar; charset=utf-8');
    const calendar = new ICAL.Component(ICAL.parse(answer.body));
    return { calendar, text: answer.body, events: calendar.getAllSubcomponents('vevent') };
  }

  test('has each window once, at its instants in UTC', async () => {
    const { calendar, events: found } = await events();
    // RFC 5545 §3.6: both are required, each exactly once.
    expect(calendar.getFirstPropertyValue('version')).toBe('2.0');
    expect(String(calendar.getFirstPropertyValue('prodid'))).toContain('Rollcall');
    const read = found.map((component) => new ICAL.Event(component));
    expect(
      read.map(({ summary, startDate, endDate }) => [
        summary,
        startDate.toJSDate().getTime(),
        endDate.toJSDate().getTime(),
        startDate.zone.tzid,
      ]),
    ).toEqual(
      // Whole seconds (RFC 5545 §3.3.5).
      [past, running, toCome].map(({ name, from, to }) => [name, from, to, 'UTC']),
    );
    expect(read[2]?.description).toBe('Every service. <b>New</b> disk; "really", twice');
    expect(found.every((one) => one.getFirstPropertyValue('dtstamp') !== null)).toBe(true);
  });

  test('keeps a UID for each window', async () => {
    const uids = async () =>
      (await events()).events.map((one) => String(one.getFirstPropertyValue('uid')));
    const first = await uids();
    expect(new Set(first).size).toBe(3);
    expect(await uids()).toEqual(first);
  });

  test('has lines that end and fold as they must', async () => {
    const { text } = await events();
    // RFC 5545 §3.1: CRLF, at most 75 octets without it.
    for (const line of text.split('\r\n')) {
      expect(line).not.toContain('\n');
      expect(Buffer.byteLength(line)).toBeLessThanOrEqual(75);
    }
  });
});
