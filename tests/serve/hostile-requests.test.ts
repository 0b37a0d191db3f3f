/** What arrives on a socket of the board from who means no good: paths, sizes, forms of requests, and idle crowds. */
import { once } from 'node:events';
import { readFileSync } from 'node:fs';
import { type AddressInfo, createConnection, type Socket } from 'node:net';
import { afterAll, afterEach, beforeAll, describe, expect, test } from 'vitest';
import { connectionsCountMax, formBytesMax, requestHeadBytesMax } from '../../src/base/limits.ts';
import { cookieOf, guardedBoards, origin, passphrase, post } from './guarded.ts';
import type { Scene } from './scene.ts';

const { board, close } = guardedBoards();
let scene: Scene;
let port: number;
const sockets: Socket[] = [];

beforeAll(async () => {
  scene = await board({ access: { passphrase: null, tokens: [], key: Buffer.alloc(32) } });
  await scene.app.listen({ host: '127.0.0.1', port: 0 });
  port = (scene.app.server.address() as AddressInfo).port;
});
afterEach(() => {
  for (const socket of sockets.splice(0)) socket.destroy();
});
afterAll(close);

function connected(): Promise<Socket> {
  return new Promise((resolve, reject) => {
    const socket = createConnection({ host: '127.0.0.1', port }, () => resolve(socket));
    socket.setEncoding('latin1');
    socket.on('error', reject);
    sockets.push(socket);
  });
}

/** Everything that comes back until the other side closes. */
async function said(text: string): Promise<string> {
  const socket = await connected();
  let heard = '';
  socket.on('data', (chunk: string) => {
    heard += chunk;
  });
  // What is refused amid its sending may be reset.
  socket.on('error', () => {});
  socket.write(text);
  await once(socket, 'close');
  return heard;
}

const request = (line: string, head = '', body = '') =>
  `${line} HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n${head}\r\n${body}`;
const statusOf = (answer: string) => Number(/^HTTP\/1\.1 (\d{3}) /.exec(answer)?.[1]);
const lives = async () => statusOf(await said(request('GET /healthz'))) === 200;

describe('paths', () => {
  const passwords = readFileSync('/etc/passwd', 'latin1').split('\n')[0] ?? '?';
  test.each([
    '/../../../../etc/passwd',
    '/assets/../../../../etc/passwd',
    '/assets/..%2f..%2f..%2f..%2fetc%2fpasswd',
    '/assets/%2e%2e/%2e%2e/%2e%2e/etc/passwd',
    '/assets/..\\..\\..\\etc\\passwd',
    '/assets/..%5c..%5cetc%5cpasswd',
    '/assets/%252e%252e%252fetc%252fpasswd',
    '/assets//etc/passwd',
    '/assets/style.css%00.svg',
    '//etc/passwd',
    '/services/..%2f..%2fetc%2fpasswd',
    '/outages/..%2f..%2fapi',
    '/assets/__proto__',
    '/services/constructor',
    '/api/v1/services/__proto__',
  ])('%s leads to nothing', async (path) => {
    const answer = await said(request(`GET ${path}`));
    expect([400, 404]).toContain(statusOf(answer));
    expect(answer).not.toContain(passwords);
    expect(answer).not.toContain('rollcall.db');
  });

  test('a whole address in the place of a path is no way elsewhere', async () => {
    const away = await said(request('GET http://other.example/api/v1/roll'));
    expect(statusOf(away)).toBe(421);
    // It must be understood all the same (RFC 9112 §3.2.2).
    const here = await said(request('GET http://localhost/api/v1/roll'));
    expect([statusOf(here), here]).toEqual([200, expect.stringContaining('private, no-cache')]);
  });
});

describe('sizes', () => {
  test('an address, a head, or a number of headers that has no end is refused', async () => {
    const long = 'x'.repeat(requestHeadBytesMax);
    for (const text of [
      request(`GET /${long}`),
      request('GET /', `Cookie: a=${long}\r\n`),
      request('GET /', 'a: b\r\n'.repeat(requestHeadBytesMax)),
    ]) {
      expect(statusOf(await said(text))).toBe(431);
    }
    expect(await lives()).toBe(true);
  });

  test('a body that is too long is refused by what it says, and by what it is', async () => {
    const type = 'Content-Type: application/x-www-form-urlencoded\r\n';
    const honest = `${type}Content-Length: ${formBytesMax + 1}\r\n`;
    expect(statusOf(await said(request('POST /channels/test', honest)))).toBe(413);
    const chunk = `1000\r\n${'x'.repeat(0x1000)}\r\n`;
    const chunked = `${type}Transfer-Encoding: chunked\r\n`;
    const endless = chunk.repeat(formBytesMax / 0x1000 + 2);
    expect(statusOf(await said(request('POST /channels/test', chunked, endless)))).toBe(413);
    expect(await lives()).toBe(true);
  });
});

describe('forms of requests', () => {
  test.each([
    ['two lengths', request('POST /sign-in', 'Content-Length: 1\r\nContent-Length: 2\r\n', 'ab')],
    [
      'a length and chunks (RFC 9112 §6.1: smuggling)',
      request('POST /', 'Content-Length: 5\r\nTransfer-Encoding: chunked\r\n', '0\r\n\r\n'),
    ],
    ['a negative length', request('POST /', 'Content-Length: -1\r\n')],
    [
      'a chunk of no size',
      request('POST /channels/test', 'Transfer-Encoding: chunked\r\n', 'zz\r\n'),
    ],
    ['a header that is folded', request('GET /', 'a: b\r\n c: d\r\n')],
    ['a header without a name', request('GET /', ': b\r\n')],
    ['a NUL in a header', request('GET /', 'a: b\0c\r\n')],
    ['two hosts', request('GET /', 'Host: other.example\r\n')],
    ['another protocol', '\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n'],
    ['a later HTTP', 'PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n'],
    ['a line break alone', 'GET / HTTP/1.1\nHost: localhost\n\n'],
  ])('%s: refused, and the board lives on', async (_what, text) => {
    expect(statusOf(await said(text))).toBeGreaterThanOrEqual(400);
    expect(await lives()).toBe(true);
  });

  test.each(['TRACE', 'CONNECT', 'PROPFIND', 'BREW'])('%s is not done', async (method) => {
    const target = method === 'CONNECT' ? 'other.example:443' : '/';
    const answer = await said(request(`${method} ${target}`));
    // Node itself ends a CONNECT that nobody takes.
    if (answer !== '') expect([400, 404, 405]).toContain(statusOf(answer));
    expect(await lives()).toBe(true);
  });

  test('a form that is none says so: broken encodings, repeated and foreign fields', async () => {
    const guardedScene = await board();
    const answers = await Promise.all(
      ['%', '%ff%fe', 'passphrase[]=a', '=&=&=', 'passphrase', 'to=//a&to=//b'].map((payload) =>
        guardedScene.app.inject({
          method: 'POST',
          url: '/sign-in',
          payload,
          headers: {
            host: 'localhost:7655',
            origin,
            'content-type': 'application/x-www-form-urlencoded',
          },
        }),
      ),
    );
    expect(answers.map(({ statusCode }) => statusCode)).toEqual(Array(6).fill(403));
    const good = await post(guardedScene, '/sign-in', {
      passphrase,
      __proto__: 'x',
      to: '/\u0000',
    });
    expect([good.statusCode, good.headers.location]).toEqual([303, '/']);
    expect(cookieOf(good)).toContain('rollcall-');
  });

  test('cookies that are none are nobody’s', async () => {
    const guardedScene = await board();
    for (const cookie of [
      '=',
      ';;;',
      'rollcall-5c2f0f0e=%',
      `a=${'b'.repeat(5_000)}`,
      '__proto__=x',
    ]) {
      const answer = await guardedScene.app.inject({
        url: '/api/v1/roll',
        headers: { host: 'localhost:7655', cookie },
      });
      expect(answer.statusCode).toBe(401);
    }
  });
});

describe('crowds', () => {
  test('500 connections that say nothing keep nobody out', async () => {
    await Promise.all(Array.from({ length: 500 }, connected));
    expect(await lives()).toBe(true);
    expect(statusOf(await said(request('GET /')))).toBe(200);
  });

  test('there are only so many, so that the watch keeps descriptors of its own', () => {
    expect(scene.app.server.maxConnections).toBe(connectionsCountMax);
  });
});
