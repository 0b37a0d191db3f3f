/** Sessions and the forms that belong to them. */
import { randomBytes } from 'node:crypto';
import { afterAll, describe, expect, test } from 'vitest';
import { sessionMsMax } from '../../src/base/limits.ts';
import {
  cheaplyHashed,
  get,
  guarded,
  guardedBoards,
  passphrase,
  post,
  signedIn,
  tokenOn,
} from './guarded.ts';
import { dayMs } from './scene.ts';

const { board, close } = guardedBoards();
afterAll(close);

describe('a session', () => {
  test('survives a restart, and ends with another passphrase, another key, or its time', async () => {
    const first = await board();
    const cookie = await signedIn(first);
    const { record } = first;
    const typed = { ...guarded, passphrase };
    const kept = await signedIn(await board({ record, access: typed }));
    expect(
      (await get(await board({ record, access: typed }), '/', { cookie: kept })).statusCode,
    ).toBe(200);
    expect((await get(await board({ record }), '/', { cookie })).statusCode).toBe(200);
    for (const access of [
      { ...guarded, passphrase: cheaplyHashed('another passphrase') },
      { ...guarded, passphrase: cheaplyHashed(passphrase) },
      { ...guarded, key: randomBytes(32) },
    ]) {
      expect((await get(await board({ record, access }), '/', { cookie })).statusCode).toBe(401);
    }
    await first.clock.advance(sessionMsMax - dayMs);
    expect((await get(first, '/', { cookie })).statusCode).toBe(200);
    await first.clock.advance(dayMs);
    expect((await get(first, '/', { cookie })).statusCode).toBe(401);
  });

  test('is over for whoever holds its cookie once its owner has signed out', async () => {
    const scene = await board();
    const cookie = await signedIn(scene);
    const other = await signedIn(scene);
    const answer = await post(
      scene,
      '/sign-out',
      { token: await tokenOn(scene, cookie) },
      { cookie },
    );
    expect(answer.statusCode).toBe(303);
    expect(answer.headers['set-cookie']).toMatch(
      /^rollcall-5c2f0f0e=; Max-Age=0; Path=\/; Expires=Thu, 01 Jan 1970/,
    );
    expect((await get(scene, '/', { cookie })).statusCode).toBe(401);
    expect((await get(await board({ record: scene.record }), '/', { cookie })).statusCode).toBe(
      401,
    );
    // Another browser stays signed in.
    expect((await get(scene, '/', { cookie: other })).statusCode).toBe(200);
  });

  test('is not made up: a changed cookie is none', async () => {
    const scene = await board();
    const cookie = await signedIn(scene);
    const changed = cookie.replace(/=(.)/, (_all, letter) => `=${letter === 'A' ? 'B' : 'A'}`);
    const unsigned = cookie.replace(/\..*/, '');
    for (const made of [changed, unsigned, `${cookie}x`, 'rollcall-5c2f0f0e=', 'rollcall=a.b']) {
      expect((await get(scene, '/', { cookie: made })).statusCode).toBe(401);
    }
  });

  test('keeps nothing in the record that signs anybody in', async () => {
    const scene = await board();
    const cookie = await signedIn(scene);
    const words = (await scene.record.kept('board.sessions')) ?? '';
    expect(JSON.parse(words)).toHaveLength(1);
    expect(words).not.toContain(cookie.split('=')[1]?.split('.')[0]);
  });

  test('what was kept and cannot be read signs everybody out, and nothing breaks', async () => {
    const scene = await board();
    const cookie = await signedIn(scene);
    await scene.record.keep('board.sessions', '{"half":');
    const again = await board({ record: scene.record });
    expect((await get(again, '/', { cookie })).statusCode).toBe(401);
    await signedIn(again);
  });
});

describe('a form of who is signed in', () => {
  test('needs the token of this session', async () => {
    const scene = await board();
    const [mine, theirs] = [await signedIn(scene), await signedIn(scene)];
    const token = await tokenOn(scene, theirs);
    for (const wrong of [token, '', 'x', `${token}A`, Buffer.alloc(64).toString('base64url')]) {
      const answer = await post(scene, '/sign-out', { token: wrong }, { cookie: mine });
      expect(answer.statusCode).toBe(403);
    }
    expect((await get(scene, '/', { cookie: mine })).statusCode).toBe(200);
  });

  test('is masked anew on each page, and each of them is good (BREACH)', async () => {
    const scene = await board();
    const cookie = await signedIn(scene);
    const tokens = [await tokenOn(scene, cookie), await tokenOn(scene, cookie)];
    expect(tokens[0]).not.toBe(tokens[1]);
    expect(tokens[0]?.slice(-40)).not.toBe(tokens[1]?.slice(-40));
    const answer = await post(scene, '/sign-out', { token: tokens[0] ?? '' }, { cookie });
    expect(answer.statusCode).toBe(303);
  });

  test('is not taken from another site, cookie and token or not', async () => {
    const scene = await board();
    const cookie = await signedIn(scene);
    const token = await tokenOn(scene, cookie);
    for (const headers of [
      { origin: 'http://other.example' },
      { 'sec-fetch-site': 'cross-site' },
    ]) {
      const answer = await post(scene, '/sign-out', { token }, { cookie, headers });
      expect(answer.statusCode).toBe(403);
    }
  });
});
