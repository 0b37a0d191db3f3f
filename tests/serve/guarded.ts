/** A board with a passphrase, and browsers and programs that ask it. */
import { randomBytes, scryptSync } from 'node:crypto';
import type { InjectOptions } from 'fastify';
import { expect } from 'vitest';
import type { AccessOptions } from '../../src/serve/access.ts';
import { type Member, minuteMs, type Scene, type SceneOptions, sceneOf } from './scene.ts';

export const passphrase = 'slip and glaze';
export const readToken = 'f3c1a9d2e4b5968778695a4b3c2d1e0f';
export const guarded: AccessOptions = {
  passphrase: cheaplyHashed(passphrase),
  tokens: [randomBytes(20).toString('hex'), readToken],
  key: randomBytes(32),
};
export const origin = 'http://localhost:7655';
/** What a browser that opens a page accepts. */
export const page = { accept: 'text/html,application/xhtml+xml' };

/** So cheap that tests need not wait for it; what it costs in earnest is in base/passphrase.ts. */
export function cheaplyHashed(text: string): string {
  const salt = randomBytes(16);
  const key = scryptSync(text, salt, 32, { N: 2 ** 10, r: 1, p: 1 });
  return `scrypt:10:1:1:${salt.toString('base64url')}:${key.toString('base64url')}`;
}

export const home = { host: 'localhost:7655' };
const members: readonly Member[] = [
  {
    id: 'shop',
    name: 'Glazed shop',
    note: 'In the cellar.',
    past: [{ state: 'up', agoMs: 60 * minuteMs }],
  },
];

/** `close` ends all that were made. */
export function guardedBoards(): {
  readonly board: (options?: SceneOptions, members?: readonly Member[]) => Promise<Scene>;
  readonly close: () => Promise<unknown>;
} {
  const scenes: Scene[] = [];
  return {
    board: async (options = {}, on = members) => {
      const scene = await sceneOf(on, { access: guarded, answers: false, ...options });
      scenes.push(scene);
      return scene;
    },
    close: () => Promise.all(scenes.map(({ app }) => app.close())),
  };
}

export interface Sent {
  readonly cookie?: string;
  readonly headers?: Record<string, string>;
  readonly remoteAddress?: string;
}

export function get(scene: Scene, url: string, { cookie, headers, ...rest }: Sent = {}) {
  return scene.app.inject({
    url,
    headers: { ...home, ...(cookie && { cookie }), ...headers },
    ...rest,
  });
}

/** As a form of a page of the board. */
export function post(
  scene: Scene,
  url: string,
  fields: Record<string, string>,
  { cookie, headers, ...rest }: Sent = {},
) {
  const options: InjectOptions = {
    method: 'POST',
    url,
    payload: new URLSearchParams(fields).toString(),
    headers: {
      ...home,
      origin,
      'content-type': 'application/x-www-form-urlencoded',
      ...(cookie && { cookie }),
      ...headers,
    },
    ...rest,
  };
  return scene.app.inject(options);
}

/** `name=value` of the cookie that an answer sets. */
export function cookieOf(answer: { headers: Record<string, unknown> }): string {
  return String(answer.headers['set-cookie']).split(';')[0] ?? '';
}

/** Its cookie. */
export async function signedIn(scene: Scene, sent: Sent = {}): Promise<string> {
  const answer = await post(scene, '/sign-in', { passphrase }, sent);
  expect(answer.statusCode).toBe(303);
  return cookieOf(answer);
}

/** The token of the first form on a page. */
export async function tokenOn(scene: Scene, cookie: string, url = '/'): Promise<string> {
  const { body } = await get(scene, url, { cookie });
  return /name="token" value="([^"]+)"/.exec(body)?.[1] ?? '';
}
