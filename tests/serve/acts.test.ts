/** What the owner does on the board: notes, asking now, test notices; and who may not. */
import { afterAll, describe, expect, test } from 'vitest';
import { askWaitMsMax, noteCharsMax, notesOfOutageCountMax } from '../../src/base/limits.ts';
import type { Acts, ChannelSaid } from '../../src/serve/acts.ts';
import type { TellState } from '../../src/tell/state.ts';
import { get, guardedBoards, post, readToken, signedIn, tokenOn } from './guarded.ts';
import { hourMs, type Member, minuteMs, type Scene, type SceneOptions, words } from './scene.ts';

const { board, close } = guardedBoards();
afterAll(close);

const members: readonly Member[] = [
  {
    id: 'order-book',
    name: 'Order book',
    past: [
      { state: 'up', agoMs: 5 * hourMs },
      { state: 'down', agoMs: 28 * minuteMs },
    ],
  },
];

const tells: TellState = {
  channels: [{ name: 'Phone & "more"', lastDeliveredAt: null, lastFailure: null, waitingCount: 0 }],
  deadLetters: [],
};

interface Asked {
  readonly services: string[];
  readonly channels: string[];
}

function actsThat(
  said: ChannelSaid = { delivered: true, detail: 'answered 200' },
  asking: () => Promise<void> = async () => {},
): { readonly acts: Acts; readonly asked: Asked } {
  const asked: Asked = { services: [], channels: [] };
  return {
    asked,
    acts: {
      askNow: (id) => {
        asked.services.push(id);
        return asking();
      },
      testChannel: async (name) => {
        asked.channels.push(name);
        return said;
      },
    },
  };
}

interface Signed {
  readonly scene: Scene;
  readonly cookie: string;
  readonly token: string;
  readonly outage: string;
  /** Path of the page of the outage. */
  readonly page: string;
  readonly asked: Asked;
  send(url: string, fields: Record<string, string>): ReturnType<typeof post>;
}

async function signed(options: SceneOptions = {}, made = actsThat()): Promise<Signed> {
  const scene = await board({ acts: made.acts, tells, ...options }, members);
  const cookie = await signedIn(scene);
  const token = await tokenOn(scene, cookie);
  const outage = scene.standings.get('order-book')?.outage?.id ?? '';
  return {
    ...{ scene, cookie, token, outage, asked: made.asked },
    page: `/outages/${outage}`,
    send: (url, fields) => post(scene, url, { token, ...fields }, { cookie }),
  };
}

describe('a note', () => {
  test('is kept with its outage, and read there by everybody who reads, as it was written', async () => {
    const { scene, cookie, page, outage, send } = await signed();
    const text = 'The plug was out.\r\n<script>alert(1)</script> & "taped"\u202e.\u0007\r\n';
    const answer = await send(`${page}/notes`, { text });
    expect([answer.statusCode, answer.headers.location]).toEqual([303, `${page}#owner-notes`]);
    expect(await scene.record.notes(outage)).toEqual([
      {
        at: scene.clock.wallMs(),
        text: 'The plug was out.\n<script>alert(1)</script> & "taped" .',
      },
    ]);
    for (const sent of [{ cookie }, { headers: { authorization: `Bearer ${readToken}` } }]) {
      const { body } = await get(scene, page, sent);
      expect(body).toContain('The plug was out.');
      expect(body).toContain('&lt;script>alert(1)&lt;/script> &amp; &quot;taped&quot; .');
      expect(body).not.toContain('<script>alert');
    }
    const form = (await get(scene, page, { cookie })).body;
    expect(form).toMatch(/<textarea[^>]*name="text"[^>]*maxlength="4000"/);
  });

  test('is not taken empty, too long, or of an outage that is none', async () => {
    const { page, send } = await signed();
    const refusals = [
      await send(`${page}/notes`, { text: ' \r\n\u0000 ' }),
      await send(`${page}/notes`, {}),
      await send(`${page}/notes`, { text: 'x'.repeat(noteCharsMax + 1) }),
      await send('/outages/none/notes', { text: 'x' }),
    ];
    expect(refusals.map(({ statusCode }) => statusCode)).toEqual([400, 400, 400, 404]);
    expect((await send(`${page}/notes`, { text: 'ü'.repeat(noteCharsMax) })).statusCode).toBe(303);
    expect((await send(`${page}/notes`, { text: '𝄞'.repeat(20_000) })).statusCode).toBe(413);
  });

  test('is one of so many at most', async () => {
    const { scene, outage, page, send } = await signed();
    for (let count = 0; count < notesOfOutageCountMax; count++) {
      await scene.record.note(outage, { at: count, text: 'x' });
    }
    expect((await send(`${page}/notes`, { text: 'one more' })).statusCode).toBe(409);
  });
});

describe('"I know"', () => {
  test('is said once, and stands on the page and in the API from then on', async () => {
    const { scene, cookie, outage, page, send } = await signed();
    const before = (await get(scene, page, { cookie })).body;
    expect(before).toContain(`action="${page}/known"`);
    const answer = await send(`${page}/known`, {});
    expect([answer.statusCode, answer.headers.location]).toEqual([303, `${page}#notices`]);
    expect(await scene.record.knownAt(outage)).toBe(scene.clock.wallMs());
    const after = (await get(scene, page, { cookie })).body;
    expect(words(after)).toMatch(/Known since 09:42:10 ?: no more reminders\./);
    expect(after).not.toContain(`action="${page}/known"`);
    const { body } = await get(scene, `/api/v1/outages/${outage}`, { cookie });
    expect(JSON.parse(body)).toMatchObject({ knownAt: '2026-11-25T09:42:10.000Z' });
  });

  test('is about outages that there are', async () => {
    const { send } = await signed();
    expect((await send('/outages/none/known', {})).statusCode).toBe(404);
  });
});

describe('asking now', () => {
  test('asks the service and leads to its answer', async () => {
    const { scene, cookie, asked, send } = await signed();
    const form = (await get(scene, '/services/order-book', { cookie })).body;
    expect(form).toContain('action="/services/order-book/ask"');
    const answer = await send('/services/order-book/ask', {});
    expect(answer.headers.location).toBe('/services/order-book#last');
    expect(asked.services).toEqual(['order-book']);
    expect((await send('/services/nobody/ask', {})).statusCode).toBe(404);
  });

  test('waits for no one who takes long', async () => {
    const never = actsThat(undefined, () => new Promise(() => {}));
    const { scene, send } = await signed({}, never);
    const answer = send('/services/order-book/ask', {});
    await expect.poll(() => never.asked.services.length).toBe(1);
    await scene.clock.advance(askWaitMsMax);
    expect((await answer).statusCode).toBe(303);
  });

  test('goes only so often', async () => {
    const { scene, asked, send } = await signed();
    const ask = async () => (await send('/services/order-book/ask', {})).statusCode;
    for (let tries = 0; tries < 6; tries++) expect(await ask()).toBe(303);
    expect(await ask()).toBe(429);
    expect(asked.services).toHaveLength(6);
    await scene.clock.advance(minuteMs);
    expect(await ask()).toBe(303);
  });
});

describe('a test notice', () => {
  test.each([
    [{ delivered: true, detail: 'answered 204' }, 'The test notice was delivered: Answered 204.'],
    [
      { delivered: false, detail: 'answered 403: <b>go away</b>' },
      'The test notice did not arrive: Answered 403: &lt;b>go away&lt;/b>.',
    ],
  ])('shows what the other side said: %j', async (said, sentence) => {
    const { scene, cookie, asked, send } = await signed({}, actsThat(said));
    const before = await get(scene, '/channels', { cookie });
    expect(before.body).toContain('name="channel" value="Phone &amp; &quot;more&quot;"');
    const answer = await send('/channels/test', { channel: 'Phone & "more"' });
    expect([answer.statusCode, answer.headers.location]).toEqual([303, '/channels']);
    expect(asked.channels).toEqual(['Phone & "more"']);
    const after = await get(scene, '/channels', { cookie });
    expect(words(after.body)).toContain(`09:42:10 ${sentence}`);
  });

  test('goes through channels that there are', async () => {
    const { asked, send } = await signed();
    expect((await send('/channels/test', { channel: 'nobody' })).statusCode).toBe(404);
    expect((await send('/channels/test', {})).statusCode).toBe(404);
    expect(asked.channels).toEqual([]);
  });
});

describe('nobody else acts', () => {
  const urls = (page: string) => [
    `${page}/notes`,
    `${page}/known`,
    '/services/order-book/ask',
    '/channels/test',
    '/sign-out',
  ];
  const fields = { text: 'x', channel: 'Phone & "more"' };

  test('a stranger, a program, another site, another session, or a page without a token', async () => {
    const { scene, cookie, token, page, outage, asked } = await signed();
    const other = await tokenOn(scene, await signedIn(scene));
    const authorization = `Bearer ${readToken}`;
    for (const url of urls(page)) {
      const statuses = await Promise.all([
        post(scene, url, { token, ...fields }),
        post(scene, url, { token, ...fields }, { headers: { authorization } }),
        post(scene, url, { token, ...fields }, { cookie, headers: { origin: 'http://a.example' } }),
        post(scene, url, { token, ...fields }, { cookie, headers: { origin: 'null' } }),
        post(scene, url, { token: other, ...fields }, { cookie }),
        post(scene, url, fields, { cookie }),
      ]);
      expect(statuses.map(({ statusCode }) => statusCode)).toEqual([401, 403, 403, 403, 403, 403]);
    }
    expect(asked).toEqual({ services: [], channels: [] });
    expect(await scene.record.notes(outage)).toEqual([]);
  });

  test('anybody, where no passphrase is set; and no form is shown', async () => {
    const { acts, asked } = actsThat();
    const scene = await board(
      { acts, tells, access: { passphrase: null, tokens: [], key: Buffer.alloc(32) } },
      members,
    );
    const page = `/outages/${scene.standings.get('order-book')?.outage?.id}`;
    for (const url of urls(page).slice(0, 3)) {
      const answer = await post(scene, url, fields);
      expect([answer.statusCode, answer.json().detail]).toEqual([
        403,
        'This board is read-only: its owner can act once `board.passphrase` is configured.',
      ]);
    }
    for (const url of ['/', page, '/services/order-book', '/channels']) {
      expect((await get(scene, url)).body).not.toContain('<form');
    }
    expect(asked.services).toEqual([]);
  });

  test('by a link: acts are sent, not opened', async () => {
    const { scene, cookie, page } = await signed();
    for (const url of urls(page)) {
      expect((await get(scene, url, { cookie })).statusCode).toBe(404);
    }
  });
});
