/** The page of the household against the owner's board: names and states, and nothing of the rest through any way. */
import { createHash } from 'node:crypto';
import type { FastifyInstance } from 'fastify';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { webFolder } from '../../src/serve/assets.ts';
import type { BoardOptions } from '../../src/serve/board.ts';
import { createHousehold } from '../../src/serve/household.ts';
import { fernhill } from './fernhill.ts';
import { guarded } from './guarded.ts';
import { minuteMs, neverAsked, now, refused, type Scene, sceneOf, words } from './scene.ts';

let scene: Scene;
let app: FastifyInstance;
const apps: FastifyInstance[] = [];
beforeAll(async () => {
  scene = await sceneOf(fernhill, { answers: false, report: { troubles: ['Secret trouble.'] } });
  app = await household(scene.options);
});
afterAll(() => Promise.all([scene.app, ...apps].map((one) => one.close())));

async function household(options: BoardOptions): Promise<FastifyInstance> {
  const made = await createHousehold(options, '0.0.0.0');
  apps.push(made);
  return made;
}

const home = { host: '192.0.2.7:7656' };
const get = (on: FastifyInstance, url = '/', headers: Record<string, string> = {}) =>
  on.inject({ url, headers: { ...home, ...headers } });

/** Without what is the same on every board. */
const shown = (body: string) => body.replace(/<style>.*<\/style>/s, '');

interface ApiService {
  readonly name: string;
  readonly group: string | null;
  readonly state: string;
}

test('tells each name with its state, by group, as the owner’s board does', async () => {
  const { body } = await get(app);
  const { services } = (await scene.app.inject({ url: '/api/v1/services' })).json<{
    services: ApiService[];
  }>();
  const text = words(shown(body));
  for (const { name, state } of services) {
    expect(text).toContain(`${name} ${state === 'unobserved' ? 'not observed' : state}`);
  }
  const groups = [...shown(body).matchAll(/<h2[^>]*>([^<]+)/g)].map(([, name]) => name);
  expect(groups).toEqual([...new Set(services.flatMap(({ group }) => group ?? []))]);
  expect(body).toMatch(/<title>2 down · Fernhill Pottery<\/title>/);
  expect(text).toContain(
    'Order book and Shop are down; 6 others answer, 1 of them with reservations',
  );
});

test('tells nothing else that the owner’s pages and API tell', async () => {
  const { body, headers } = await get(app);
  const all = JSON.stringify([shown(body), headers]);
  const known = new Set(
    fernhill
      .flatMap(({ name, group }) => [name, group])
      .concat('Fernhill Pottery', new Date(now).toISOString()),
  );
  const owners = JSON.stringify([
    scene.options.cards,
    (await scene.app.inject({ url: '/api/v1/services' })).json(),
    (await scene.app.inject({ url: '/api/v1/outages?from=2026-11-01T00:00:00Z' })).json(),
    (await scene.app.inject({ url: '/healthz' })).json(),
  ]);
  // Every text in there that is no name, group or state, and that could stand somewhere.
  const secrets = [...owners.matchAll(/"((?:[^"\\]|\\.){5,})"(?!:)/g)]
    .map(([, text]) => text ?? '')
    .filter((text) => !known.has(text) && !/^(unobserved|degraded|answer)$/.test(text));
  expect(secrets.length).toBeGreaterThan(50);
  for (const secret of new Set(secrets)) expect(all).not.toContain(secret);
  expect(all).not.toMatch(/0\.1\.0|home\.arpa|192\.0\.2\.[^7]|09:14|since/);
  expect(Object.keys(headers).join()).not.toMatch(/etag|powered|server|modified/);
  expect(shown(body)).not.toMatch(/href="(?!data:)| id="/);
});

test('is the same to the byte whatever else is different', async () => {
  const { board, ...rest } = scene.options;
  const other: BoardOptions = {
    ...rest,
    board: { ...board, listen: { host: '192.0.2.9', port: 1 } },
    version: '9.9.9',
    access: guarded,
    cards: scene.options.cards.map((card) => ({
      ...card,
      id: `${card.id}-on-db.fernhill.home.arpa`,
      kind: 'smtp',
      where: 'secret.fernhill.home.arpa:25',
      open: 'https://secret.fernhill.home.arpa/',
      note: 'Secret note.',
      needs: [],
      through: [],
      objective: 0.5,
      everyMs: 1_000,
    })),
    standingOf: (id) => ({
      ...neverAsked,
      state: scene.options.standingOf(id.replace('-on-db.fernhill.home.arpa', '')).state,
      since: now - minuteMs,
      suspect: true,
      unsteady: true,
      causeId: 'shop',
      hiddenBy: 'gateway',
      last: {
        at: now,
        outcome: 'failed',
        tookUs: 1,
        phases: {},
        trouble: refused,
        facts: { version: '9' },
      },
      pacedMs: 1,
    }),
    self: () => ({ ...rest.self(), startedAt: now, troubles: [] }),
  };
  const [one, another] = [await get(app), await get(await household(other))];
  expect(another.body).toBe(one.body);
  const { date: _one, ...oneHeaders } = one.headers;
  const { date: _another, ...otherHeaders } = another.headers;
  expect(otherHeaders).toEqual(oneHeaders);
});

test('reads no record: what it takes does not hang on what is in there', async () => {
  const touched: string[] = [];
  const record = new Proxy(scene.record, {
    get: (target, name, receiver) => {
      touched.push(String(name));
      return Reflect.get(target, name, receiver);
    },
  });
  const made = await household({ ...scene.options, record });
  touched.length = 0;
  expect((await get(made)).statusCode).toBe(200);
  expect(touched).toEqual([]);
});

describe('there is one path, and every other is answered alike', () => {
  const order = fernhill.find(({ id }) => id === 'order-book');
  const paths = [
    '/services/order-book',
    `/services/${order?.id}/ask`,
    '/outages/any',
    '/api/v1/roll',
    '/api/v1/services',
    '/openapi.json',
    '/healthz',
    '/live',
    '/metrics',
    '/feed.atom',
    '/sign-in',
    '/sign-out',
    '/channels',
    '/channels/test',
    '/assets/style.css',
    '/favicon.ico',
    '/nothing',
    '/%',
    '/index.html',
  ];

  test('whether the owner’s board has it or not, for whoever asks and however', async () => {
    const known = await household({ ...scene.options, access: guarded });
    const first = await get(known, '/nothing');
    expect([first.statusCode, first.body]).toEqual([404, 'There is nothing at this address.\n']);
    const { date: _date, ...headers } = first.headers;
    const authorization = `Bearer ${guarded.tokens[0]}`;
    for (const url of paths) {
      for (const method of ['GET', 'POST', 'PUT', 'DELETE', 'OPTIONS'] as const) {
        const answer = await known.inject({
          url,
          method,
          headers: { ...home, authorization, accept: 'text/html' },
        });
        const { date, ...others } = answer.headers;
        expect([method, url, answer.statusCode, answer.body, others]).toEqual([
          method,
          url,
          404,
          first.body,
          headers,
        ]);
      }
    }
  });

  test('the page itself takes no other method', async () => {
    for (const method of ['POST', 'PUT', 'PATCH', 'DELETE', 'OPTIONS'] as const) {
      const answer = await app.inject({ method, url: '/', headers: home, payload: '{}' });
      expect(answer.statusCode).toBe(404);
    }
    expect((await app.inject({ method: 'HEAD', url: '/', headers: home })).body).toBe('');
  });
});

test('goes by its own address and names, and says nothing under any other', async () => {
  const answer = await get(app, '/', { host: 'attacker.example' });
  expect(answer.statusCode).toBe(421);
  expect(answer.body).not.toMatch(/fernhill|order/i);
  expect((await get(app, '/', { host: 'fernhill.local' })).statusCode).toBe(200);
});

test('loads nothing: style and icon stand in the page, and nothing runs there', async () => {
  const { body, headers } = await get(app);
  const style = /<style>(.*)<\/style>/s.exec(body)?.[1] ?? '';
  const digest = createHash('sha256').update(style).digest('base64');
  expect(headers['content-security-policy']).toBe(
    `default-src 'none';base-uri 'none';form-action 'none';frame-ancestors 'none';style-src 'sha256-${digest}';img-src data:`,
  );
  expect(headers['cache-control']).toBe('no-store');
  expect(body).not.toMatch(/<script|<form|<a /);
  const { readFileSync } = await import('node:fs');
  expect(style).toBe(readFileSync(new URL('style.css', webFolder), 'utf8'));
});

test('what fails inside says nothing', async () => {
  const broken = await household({
    ...scene.options,
    standingOf: () => {
      throw new Error('secret inside');
    },
  });
  const answer = await get(broken);
  expect([answer.statusCode, answer.body]).toEqual([500, 'Something went wrong here.\n']);
});

test('a name with markup is a name', async () => {
  const named = await household({
    ...scene.options,
    cards: scene.options.cards.map((card) => ({
      ...card,
      name: '<b onclick=x>&"',
      group: '</style><script>',
    })),
  });
  const { body } = await get(named);
  expect(shown(body)).not.toMatch(/<b |<script/);
});
