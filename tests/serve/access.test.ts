/** Who may read: strangers, programs with a token, and who is signed in; proxies and sub-paths. */
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import {
  cookieOf,
  get,
  guarded,
  guardedBoards,
  origin,
  page,
  passphrase,
  post,
  readToken,
} from './guarded.ts';
import type { Scene } from './scene.ts';

const { board, close } = guardedBoards();
afterAll(close);

const reads = ['/', '/services/shop', '/outages/a', '/nothing', '/api/v1/roll', '/openapi.json'];

describe('without a passphrase', () => {
  test('everybody reads, nobody signs in, nobody acts, and no cookie is set', async () => {
    const scene = await board({ access: { passphrase: null, tokens: [], key: guarded.key } });
    const answer = await get(scene, '/');
    expect(answer.statusCode).toBe(200);
    expect(answer.headers).not.toHaveProperty('set-cookie');
    expect(answer.body).not.toContain('<form');
    expect((await get(scene, '/sign-in')).statusCode).toBe(404);
    expect((await post(scene, '/sign-in', { passphrase: '' })).statusCode).toBe(405);
  });
});

describe('a stranger', () => {
  let scene: Scene;
  beforeAll(async () => {
    scene = await board();
  });

  test.each(reads)('%s is told that it must show who it is (RFC 9110 §15.5.2)', async (url) => {
    const answer = await get(scene, url);
    expect(answer.statusCode).toBe(401);
    expect(answer.headers['www-authenticate']).toBe('Bearer realm="Rollcall"');
    expect(answer.headers['content-type']).toBe('application/problem+json');
    expect(answer.body).not.toMatch(/glazed|cellar|fernhill|0\.1\.0/i);
  });

  test.each(['/', '/services/shop?a=1', '/nothing'])(
    'who opens %s is led to the sign-in, and back from there',
    async (url) => {
      const answer = await get(scene, url, { headers: page });
      expect(answer.statusCode).toBe(303);
      const to = String(answer.headers.location);
      expect(new URL(to, origin).pathname).toBe('/sign-in');
      expect(new URL(to, origin).searchParams.get('to') ?? '/').toBe(url);
      const form = await get(scene, to, { headers: page });
      expect(form.statusCode).toBe(200);
      expect(form.body).not.toMatch(/glazed|cellar|fernhill|0\.1\.0/i);
      const sent = await post(scene, '/sign-in', { passphrase, to: url });
      expect(sent.headers.location).toBe(url);
    },
  );

  test('gets style and icon of the sign-in, and no page of the board with an error', async () => {
    const { body } = await get(scene, '/sign-in');
    for (const [, href = ''] of body.matchAll(/href="(\/assets\/[^"]+)"/g)) {
      expect((await get(scene, href)).statusCode).toBe(200);
    }
    const missing = await get(scene, '/assets/nothing', { headers: page });
    expect(missing.statusCode).toBe(404);
    expect(missing.body).not.toMatch(/fernhill|0\.1\.0/i);
  });

  test('hears whether the daemon lives, and nothing else of it', async () => {
    const answer = await get(scene, '/healthz');
    expect(answer.json()).toEqual({ status: 'pass' });
    const known = await get(scene, '/healthz', {
      headers: { authorization: `Bearer ${readToken}` },
    });
    expect(known.json()).toMatchObject({ status: 'pass', version: '0.1.0' });
  });

  test('acts nowhere', async () => {
    const answer = await post(scene, '/sign-out', { token: 'x' });
    expect(answer.statusCode).toBe(401);
  });
});

describe('a program', () => {
  let scene: Scene;
  beforeAll(async () => {
    scene = await board();
  });

  test('reads with one of the tokens, in any of its ways to write Bearer (RFC 9110 §11.1)', async () => {
    for (const authorization of [`Bearer ${readToken}`, `bearer ${readToken}`]) {
      const answer = await get(scene, '/api/v1/roll', { headers: { authorization } });
      expect(answer.statusCode).toBe(200);
    }
  });

  test.each([
    ['another token', `Bearer ${readToken.slice(1)}0`],
    ['the beginning of a token', `Bearer ${readToken.slice(0, -1)}`],
    ['no token', 'Bearer '],
    ['another scheme', `Basic ${readToken}`],
    ['the passphrase', `Bearer ${passphrase}`],
    ['a megabyte less', `Bearer ${'x'.repeat(10_000)}`],
  ])('with %s it is a stranger', async (_what, authorization) => {
    const answer = await get(scene, '/api/v1/roll', { headers: { authorization } });
    expect(answer.statusCode).toBe(401);
  });

  test('does not act', async () => {
    const headers = { authorization: `Bearer ${readToken}` };
    const answer = await post(scene, '/sign-out', { token: 'x' }, { headers });
    expect([answer.statusCode, answer.json().detail]).toEqual([
      403,
      'A token reads. To act, sign in.',
    ]);
  });
});

describe('behind a proxy', () => {
  const proxies = ['192.0.2.2'];
  const forwarded = { 'x-forwarded-proto': 'https', 'x-forwarded-host': 'fernhill.local' };

  test('that is named the cookie is for TLS only, and the name is the one that was asked for', async () => {
    const scene = await board({ proxies });
    const answer = await post(
      scene,
      '/sign-in',
      { passphrase },
      {
        remoteAddress: '192.0.2.2',
        headers: { ...forwarded, host: '127.0.0.1:7655', origin: 'https://fernhill.local' },
      },
    );
    expect(answer.statusCode).toBe(303);
    expect(answer.headers['set-cookie']).toContain('; Secure;');
    const foreign = { ...forwarded, 'x-forwarded-host': 'other.example' };
    const refused = await get(scene, '/', { remoteAddress: '192.0.2.2', headers: foreign });
    expect(refused.statusCode).toBe(421);
  });

  test('that is not named nothing is believed', async () => {
    const scene = await board({ proxies });
    const sent = { remoteAddress: '192.0.2.3', headers: forwarded };
    const answer = await post(scene, '/sign-in', { passphrase }, sent);
    expect(answer.headers['set-cookie']).not.toContain('Secure');
    // Nor from which address an attempt came.
    for (let tries = 0; tries < 10; tries++) {
      const headers = { 'x-forwarded-for': `198.51.100.${tries}` };
      await post(scene, '/sign-in', { passphrase: 'wrong' }, { ...sent, headers });
    }
    expect((await post(scene, '/sign-in', { passphrase }, sent)).statusCode).toBe(429);
  });

  test('under a sub-path every address and the cookie keep to it', async () => {
    const scene = await board({
      board: {
        title: 'Fernhill Pottery',
        timezone: 'Europe/Dublin',
        listen: { host: '127.0.0.1', port: 7655 },
        base: '/rollcall/',
      },
    });
    const turned = await get(scene, '/rollcall/services/shop', { headers: page });
    expect(turned.headers.location).toBe('/rollcall/sign-in?to=%2Fservices%2Fshop');
    const answer = await post(scene, '/rollcall/sign-in', { passphrase, to: '/services/shop' });
    expect(answer.headers.location).toBe('/rollcall/services/shop');
    expect(answer.headers['set-cookie']).toContain('Path=/rollcall/;');
    const cookie = cookieOf(answer);
    // A proxy may take the path away, or pass it on.
    for (const url of ['/rollcall/services/shop', '/services/shop', '/rollcall', '/rollcall?a']) {
      const { statusCode, body } = await get(scene, url, { cookie });
      expect(statusCode).toBe(200);
      const addresses = [...body.matchAll(/(?:href|src|action)="(\/[^"]*)"/g)].map(([, to]) => to);
      expect(addresses.length).toBeGreaterThan(4);
      expect(addresses.filter((to) => !to?.startsWith('/rollcall/'))).toEqual([]);
    }
    expect((await get(scene, '/rollcallx', { cookie })).statusCode).toBe(404);
  });
});
