/** What may be kept, and how little is sent again: cache directives, tags, compression. */
import { brotliDecompressSync, gunzipSync } from 'node:zlib';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { fernhill } from './fernhill.ts';
import { get, guardedBoards, page, signedIn } from './guarded.ts';
import { type Scene, sceneOf } from './scene.ts';

const { board, close } = guardedBoards();
let scene: Scene;
beforeAll(async () => {
  scene = await sceneOf(fernhill, { answers: false });
});
afterAll(() => Promise.all([scene.app.close(), close()]));

const tagged = ['/api/v1/services', '/api/v1/outages', '/openapi.json', '/feed.atom'];

describe('what programs fetch', () => {
  test.each(tagged)('%s is kept by nobody but who fetched it, and asked for again', async (url) => {
    const answer = await get(scene, url);
    expect(answer.headers['cache-control']).toBe('private, no-cache');
    const etag = String(answer.headers.etag);
    expect(etag).toMatch(/^W\/"[\w-]{22}"$/);
    for (const field of [etag, etag.slice(2), `"x", ${etag}`, '*']) {
      const again = await get(scene, url, { headers: { 'if-none-match': field } });
      expect([again.statusCode, again.body]).toEqual([304, '']);
      expect(again.headers.etag).toBe(etag);
      expect(again.headers).not.toHaveProperty('content-length', answer.headers['content-length']);
    }
    const other = await get(scene, url, { headers: { 'if-none-match': '"x", W/"y"' } });
    expect(other.body).toBe(answer.body);
  });

  test('another state is another tag', async () => {
    const before = (await get(scene, '/api/v1/services')).headers.etag;
    const standing = scene.standings.get('shop');
    if (standing) scene.standings.set('shop', { ...standing, state: 'up' });
    expect((await get(scene, '/api/v1/services')).headers.etag).not.toBe(before);
  });

  test('an error is not kept, and a stranger gets no tag', async () => {
    const missing = await get(scene, '/api/v1/services/nobody');
    expect(missing.headers['cache-control']).toBe('no-store');
    expect(missing.headers).not.toHaveProperty('etag');
    const stranger = await get(await board(), '/api/v1/services', {
      headers: { 'if-none-match': '*' },
    });
    expect(stranger.statusCode).toBe(401);
    expect(stranger.headers).not.toHaveProperty('etag');
  });
});

test.each(['/', '/services/shop', '/channels', '/healthz', '/metrics', '/nothing'])(
  '%s, which is of this moment, is kept by nobody',
  async (url) => {
    const answer = await get(scene, url, { headers: page });
    expect(answer.headers['cache-control']).toBe('no-store');
    expect(answer.headers).not.toHaveProperty('etag');
  },
);

describe('compression', () => {
  const asked = (url: string, encoding: string) =>
    scene.app.inject({
      url,
      headers: { host: 'localhost', 'accept-encoding': encoding },
    });

  test.each(['/', '/api/v1/services', '/openapi.json', '/metrics', '/feed.atom'])(
    '%s comes small where that is understood, and is the same',
    async (url) => {
      const plain = await asked(url, 'identity');
      expect(plain.headers).not.toHaveProperty('content-encoding');
      expect(plain.headers['content-length']).toBe(`${plain.rawPayload.length}`);
      for (const [encoding, unpack] of [
        ['br', brotliDecompressSync],
        ['gzip', gunzipSync],
      ] as const) {
        const answer = await asked(url, encoding);
        expect(answer.headers['content-encoding']).toBe(encoding);
        expect(answer.headers.vary).toContain('accept-encoding');
        expect(answer.rawPayload.length).toBeLessThan(plain.rawPayload.length / 2);
        const text = unpack(answer.rawPayload).toString();
        if (url !== '/metrics') expect(text).toBe(plain.body);
      }
    },
  );

  test('a HEAD request, which has no content, has no encoding of it either', async () => {
    const answer = await scene.app.inject({
      method: 'HEAD',
      url: '/api/v1/services',
      headers: { host: 'localhost', 'accept-encoding': 'br' },
    });
    expect(answer.statusCode).toBe(200);
    expect(answer.headers).not.toHaveProperty('content-encoding');
    expect(answer.rawPayload).toHaveLength(0);
  });

  test('what is short goes as it is', async () => {
    expect((await asked('/api/v1/roll', 'br, gzip')).headers).not.toHaveProperty(
      'content-encoding',
    );
  });

  test('two pages with tokens differ where the tokens are, and nowhere else', async () => {
    const guardedScene = await board();
    const cookie = await signedIn(guardedScene);
    const bodies = await Promise.all([1, 2].map(() => get(guardedScene, '/', { cookie })));
    const [one = '', other = ''] = bodies.map(({ body }) => body);
    expect(one).not.toBe(other);
    const bare = (text: string) => text.replace(/name="token" value="[^"]*"/g, '');
    expect(bare(one)).toBe(bare(other));
  });
});
