/** The sign-in: what it takes, what it gives, how often, and where it leads. */
import { afterAll, describe, expect, test } from 'vitest';
import { localPath } from '../../src/serve/sign-in.ts';
import {
  cookieOf,
  get,
  guarded,
  guardedBoards,
  home,
  origin,
  page,
  passphrase,
  post,
  signedIn,
} from './guarded.ts';
import { minuteMs } from './scene.ts';

const { board, close } = guardedBoards();
afterAll(close);

describe('the sign-in', () => {
  test('gives a cookie that no script reads and no other site sends', async () => {
    const scene = await board();
    const answer = await post(scene, '/sign-in', { passphrase });
    expect(answer.headers['set-cookie']).toMatch(
      /^rollcall-5c2f0f0e=[\w-]{43}\.[\w%+/-]+; Max-Age=2592000; Path=\/; HttpOnly; SameSite=Strict$/,
    );
    const cookie = cookieOf(answer);
    expect((await get(scene, '/', { cookie })).body).toContain('Glazed shop');
    expect((await get(scene, '/sign-in', { cookie, headers: page })).headers.location).toBe('/');
  });

  test('is refused with a wrong passphrase, and sets nothing', async () => {
    const scene = await board();
    const answer = await post(scene, '/sign-in', { passphrase: 'slip and glaze ', to: '/a' });
    expect(answer.statusCode).toBe(403);
    expect(answer.headers).not.toHaveProperty('set-cookie');
    expect(answer.body).toContain('This is not the passphrase.');
    expect(answer.body).toContain('name="to" value="/a"');
    expect(answer.body).not.toContain('slip and glaze');
  });

  test('knows a passphrase as typed or hashed; the hash itself opens nothing', async () => {
    await signedIn(await board({ access: { ...guarded, passphrase } }));
    const scene = await board();
    await signedIn(scene);
    const hash = guarded.passphrase ?? '';
    expect((await post(scene, '/sign-in', { passphrase: hash })).statusCode).toBe(403);
  });

  test.each([
    ['another site', { origin: 'http://other.example' }],
    ['another port of this host', { origin: 'http://localhost:8080' }],
    ['a page without an origin', { origin: 'null' }],
    ['another site, as the browser says', { 'sec-fetch-site': 'cross-site' }],
    ['another host of this site', { 'sec-fetch-site': 'same-site' }],
  ])('is not taken from %s', async (_what, headers) => {
    const scene = await board();
    const answer = await post(scene, '/sign-in', { passphrase }, { headers });
    expect(answer.statusCode).toBe(403);
    expect(answer.headers).not.toHaveProperty('set-cookie');
  });

  test('is taken from here by the browser’s own word, also where a proxy changes the name', async () => {
    const scene = await board();
    const headers = { origin: 'https://board.example', 'sec-fetch-site': 'same-origin' };
    expect((await post(scene, '/sign-in', { passphrase }, { headers })).statusCode).toBe(303);
  });

  test('takes nothing but a form', async () => {
    const scene = await board();
    for (const [type, payload] of [
      ['application/json', JSON.stringify({ passphrase })],
      ['text/plain', `passphrase=${passphrase}`],
    ] as const) {
      const headers = { ...home, origin, 'content-type': type };
      const answer = await scene.app.inject({ method: 'POST', url: '/sign-in', payload, headers });
      expect(answer.statusCode).toBe(415);
    }
  });

  test('takes over no session that somebody else chose (fixation)', async () => {
    const scene = await board();
    const planted = 'rollcall-5c2f0f0e=AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA.AAAA';
    const cookie = await signedIn(scene, { cookie: planted });
    expect(cookie).not.toContain('AAAAAAAAAAAAAAAA');
    expect((await get(scene, '/', { cookie: planted })).statusCode).toBe(401);
    // Who signs in once more leaves the session before.
    const again = await signedIn(scene, { cookie });
    expect(again).not.toBe(cookie);
    expect((await get(scene, '/', { cookie })).statusCode).toBe(401);
    expect((await get(scene, '/', { cookie: again })).statusCode).toBe(200);
  });

  test('leads to no other place (RFC 9700 §4.11.1: open redirects)', async () => {
    const scene = await board();
    for (const to of ['//other.example/', 'https://other.example/', '/\\other.example']) {
      const answer = await post(scene, '/sign-in', { passphrase, to });
      expect(answer.headers.location).toBe('/');
    }
  });

  test('is limited for an address, which a good one makes up for, and for all addresses together', async () => {
    const scene = await board();
    const attempt = (remoteAddress: string, text: string) =>
      post(scene, '/sign-in', { passphrase: text }, { remoteAddress });
    for (let tries = 0; tries < 9; tries++) {
      expect((await attempt('192.0.2.7', 'wrong')).statusCode).toBe(403);
    }
    expect((await attempt('192.0.2.7', passphrase)).statusCode).toBe(303);
    for (let tries = 0; tries < 10; tries++) {
      expect((await attempt('192.0.2.7', 'wrong')).statusCode).toBe(403);
    }
    const refused = await attempt('192.0.2.7', passphrase);
    expect(refused.statusCode).toBe(429);
    expect(Number(refused.headers['retry-after'])).toBe(900);
    expect(refused.body).toContain('Too many attempts.');
    expect((await attempt('192.0.2.8', passphrase)).statusCode).toBe(303);
    await scene.clock.advance(15 * minuteMs);
    expect((await attempt('192.0.2.7', passphrase)).statusCode).toBe(303);
  });
});

describe('where one wanted to go', () => {
  test.each([
    ['/services/shop?a=b', '/services/shop?a=b'],
    ['/a/../b', '/b'],
    ['/x#y', '/x'],
  ])('%s is a path of the board', (to, path) => {
    expect(localPath(to)).toBe(path);
  });

  test.each([
    null,
    undefined,
    ['/a'],
    '',
    'a',
    'https://other.example/',
    '//other.example/',
    '/\\other.example/',
    '\\/other.example',
    '/a/..//other.example',
    '/./\\other.example',
    '/\t/other.example',
    '/\n/other.example',
    '/%0a\r\nSet-Cookie: a=b',
    'javascript:alert(1)',
    `/${'a'.repeat(600)}`,
    '/sign-in',
    '/sign-out',
    '/sign-in?to=/sign-in',
  ])('%j leads to the roll', (to) => {
    expect(localPath(to)).toBe('/');
  });
});
