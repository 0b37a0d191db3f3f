/** What holds for every answer of the board: who may ask, headers, methods, errors, limits. */

import type { AddressInfo } from 'node:net';
import { createConnection } from 'node:net';
import { hostname } from 'node:os';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { requestHeadBytesMax } from '../../src/base/limits.ts';
import type { Log } from '../../src/base/log.ts';
import { minuteMs, type Scene, sceneOf } from './scene.ts';

const members = [
  { id: 'shop', name: 'Shop', past: [{ state: 'up', agoMs: 60 * minuteMs }] },
] as const;
const lines: { level: string; fields: object; message: string }[] = [];
const log = Object.fromEntries(
  ['debug', 'info', 'warn', 'error'].map((level) => [
    level,
    (fields: object, message: string) => lines.push({ level, fields, message }),
  ]),
) as unknown as Log;

let scene: Scene;
beforeAll(async () => {
  scene = await sceneOf(members, { log });
});
afterAll(() => scene.app.close());

const paths = [
  '/',
  '/services/shop',
  '/services/nobody',
  '/api/v1/roll',
  '/api/v1/nothing',
  '/healthz',
  '/openapi.json',
  '/channels',
  '/metrics',
  '/feed.atom',
];

describe('headers', () => {
  test.each(paths)(
    '%s may load nothing from elsewhere, and runs nothing that is written into it',
    async (url) => {
      const { headers } = await scene.app.inject({ url });
      expect(headers['content-security-policy']).toBe(
        "default-src 'none';base-uri 'none';form-action 'self';frame-ancestors 'none';style-src 'self';script-src 'self';connect-src 'self';img-src 'self'",
      );
      expect(headers).toMatchObject({
        'x-content-type-options': 'nosniff',
        'x-frame-options': 'DENY',
        'referrer-policy': 'same-origin',
        'cross-origin-resource-policy': 'same-origin',
      });
    },
  );

  test('nothing forces TLS, which a board at home does not have', async () => {
    const { headers } = await scene.app.inject({ url: '/' });
    expect(headers).not.toHaveProperty('strict-transport-security');
    expect(headers['content-security-policy']).not.toContain('upgrade-insecure-requests');
    expect(headers).not.toHaveProperty('cross-origin-opener-policy');
  });
});

describe('the name asked for', () => {
  test.each([...paths, '/assets/nothing.css'])(
    '%s is refused under a foreign name (RFC 9110 §15.5.20)',
    async (url) => {
      const answer = await scene.app.inject({
        url,
        headers: { host: 'attacker.example', accept: 'text/html' },
      });
      expect(answer.statusCode).toBe(421);
      expect(answer.headers['content-type']).toBe('application/problem+json');
      expect(answer.json()).toMatchObject({
        title: 'Misdirected Request',
        detail:
          'This board does not go by the name attacker.example. Open it by its address, by the name of its machine, or, on that machine, as localhost. Its owner can let it go by more names: `board.names` in the configuration.',
      });
      expect(answer.body).not.toMatch(/fernhill/i);
    },
  );

  test.each([
    ['the machine’s own name', hostname()],
    ['a name of the configuration', 'fernhill.local'],
  ])('%s is fine', async (_which, host) => {
    const answer = await scene.app.inject({ url: '/', headers: { host: `${host}:7655` } });
    expect(answer.statusCode).toBe(200);
  });
});

describe('errors', () => {
  test('a person gets a page, a program a problem', async () => {
    const page = await scene.app.inject({ url: '/nothing', headers: { accept: 'text/html,*/*' } });
    expect(page.statusCode).toBe(404);
    expect(page.headers).toMatchObject({
      'content-type': 'text/html; charset=utf-8',
      vary: 'accept, accept-encoding',
    });
    expect(page.body).toContain('<h1>Not Found.</h1>');
    const problem = await scene.app.inject({ url: '/nothing' });
    expect(problem.headers['content-type']).toBe('application/problem+json');
    expect(problem.json()).toEqual({
      type: 'about:blank',
      title: 'Not Found',
      status: 404,
      detail: 'There is nothing at this address.',
      instance: '/nothing',
    });
  });

  test.each(['POST', 'PUT', 'PATCH', 'DELETE', 'OPTIONS'] as const)(
    '%s is not allowed, and what is allowed is said',
    async (method) => {
      const answer = await scene.app.inject({ method, url: '/api/v1/roll', payload: '{}' });
      expect(answer.statusCode).toBe(405);
      expect(answer.headers.allow).toBe('GET, HEAD');
      expect(answer.json()).toMatchObject({ title: 'Method Not Allowed', status: 405 });
    },
  );

  test('HEAD answers as GET does, without the body', async () => {
    const answer = await scene.app.inject({ method: 'HEAD', url: '/' });
    expect(answer.statusCode).toBe(200);
    expect(answer.body).toBe('');
  });

  test('what fails inside stays inside: the log says what, the answer does not', async () => {
    const broken = await sceneOf(members, { log });
    broken.record.outage = async () => {
      throw new Error('secret inside at /srv/data');
    };
    for (const accept of ['text/html', 'application/json']) {
      const answer = await broken.app.inject({ url: '/outages/a', headers: { accept } });
      expect(answer.statusCode).toBe(500);
      expect(answer.body).not.toMatch(/secret|srv|stack|at Object/i);
    }
    expect(lines.filter(({ level }) => level === 'error')[0]).toMatchObject({
      message: 'a request failed',
      fields: { url: '/outages/a', error: 'secret inside at /srv/data' },
    });
    await broken.app.close();
  });

  test.each(['/%', '/services/%ff', '/api/v1/services/%c0%80'])(
    '%s, which is no text, is refused and nothing breaks',
    async (url) => {
      const answer = await scene.app.inject({ url });
      expect(answer.statusCode).toBe(400);
      expect(answer.headers['content-type']).toBe('application/problem+json');
    },
  );
});

describe('assets', () => {
  test('style and icon are named by their content, kept for good, and known again by their ETag', async () => {
    const page = (await scene.app.inject({ url: '/' })).body;
    const hrefs = [...page.matchAll(/href="(\/assets\/[^"]+)"/g)].map(([, href]) => href ?? '');
    expect(hrefs).toEqual([
      expect.stringMatching(/^\/assets\/up\.[\w-]{16}\.svg$/),
      expect.stringMatching(/^\/assets\/style\.[\w-]{16}\.css$/),
    ]);
    const types = ['image/svg+xml', 'text/css; charset=utf-8'];
    for (const [index, url] of hrefs.entries()) {
      const answer = await scene.app.inject({ url });
      expect(answer.statusCode).toBe(200);
      expect(answer.headers['content-type']).toBe(types[index]);
      expect(answer.headers['cache-control']).toBe('public, max-age=31536000, immutable');
      const etag = String(answer.headers.etag);
      const again = await scene.app.inject({ url, headers: { 'if-none-match': etag } });
      expect([again.statusCode, again.body]).toEqual([304, '']);
    }
  });

  test('the script is offered only where it was built', async () => {
    expect((await scene.app.inject({ url: '/' })).body).not.toContain('<script');
  });

  test.each(['/assets/style.css', '/assets/..%2fprops.ts', '/assets/client.js'])(
    '%s is not there',
    async (url) => {
      expect((await scene.app.inject({ url })).statusCode).toBe(404);
    },
  );
});

describe('over a socket', () => {
  let port = 0;
  beforeAll(async () => {
    await scene.app.listen({ host: '127.0.0.1', port: 0 });
    port = (scene.app.server.address() as AddressInfo).port;
  });

  test('a head that is too large is refused', async () => {
    const filler = 'x'.repeat(requestHeadBytesMax);
    expect(
      await said(port, `GET / HTTP/1.1\r\nHost: localhost\r\nX-Filler: ${filler}\r\n\r\n`),
    ).toMatch(/^HTTP\/1\.1 431 /);
  });

  test('a request without a name is refused', async () => {
    expect(await said(port, 'GET / HTTP/1.1\r\n\r\n')).toMatch(/^HTTP\/1\.1 400 /);
    expect(await said(port, 'GET / HTTP/1.0\r\n\r\n')).toMatch(/^HTTP\/1\.1 421 /);
  });

  test('what is not HTTP is refused, and the board lives on', async () => {
    expect(await said(port, '\u0016\u0003\u0001\u0000garbage\r\n\r\n')).toMatch(/^HTTP\/1\.1 400 /);
    expect(
      await said(port, 'GET /healthz HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n'),
    ).toMatch(/^HTTP\/1\.1 200 /);
  });

  test('reading is bounded in time', () => {
    const { server } = scene.app;
    expect(server.requestTimeout).toBe(15_000);
    expect(server.headersTimeout).toBe(15_000);
    expect(server.keepAliveTimeout).toBe(30_000);
    expect(server.timeout).toBe(30_000);
  });
});

test('every answer leaves a line for who looks for it, without headers', async () => {
  lines.length = 0;
  await scene.app.inject({ url: '/api/v1/roll?a=1', headers: { authorization: 'Bearer secret' } });
  expect(lines).toEqual([
    {
      level: 'debug',
      message: 'answered a request',
      fields: { method: 'GET', url: '/api/v1/roll?a=1', status: 200, tookMs: expect.any(Number) },
    },
  ]);
});

/** Everything that comes back until the other side closes. */
function said(port: number, text: string): Promise<string> {
  return new Promise((resolve, reject) => {
    let heard = '';
    const socket = createConnection({ host: '127.0.0.1', port }, () => socket.write(text));
    socket.setEncoding('latin1');
    socket.on('data', (chunk: string) => {
      heard += chunk;
    });
    socket.on('error', reject);
    socket.on('close', () => resolve(heard));
  });
}
