/** The `http` probe against servers on loopback: what is sent, what is followed, what is told. */
import { createServer, type IncomingMessage, type RequestListener } from 'node:http';
import { connect, type Socket } from 'node:net';
import { describe, expect, test } from 'vitest';
import { ask } from '../../src/probe/registry.ts';
import { http } from '../../src/probe/settings/http.ts';
import { closedPort, context, peer } from '../support/peer.ts';

interface Site extends AsyncDisposable {
  readonly origin: string;
  readonly port: number;
  readonly requests: readonly {
    method: string;
    url: string;
    headers: IncomingMessage['headers'];
    body: string;
  }[];
  readonly connections: readonly Socket[];
}

async function site(answer: RequestListener): Promise<Site> {
  const requests: Site['requests'][number][] = [];
  const connections: Socket[] = [];
  const server = createServer((request, response) => {
    let body = '';
    request.setEncoding('utf8').on('data', (chunk: string) => {
      body += chunk;
    });
    request.on('end', () => {
      const { method = '', url = '', headers } = request;
      requests.push({ method, url, headers, body });
      answer(request, response);
    });
  });
  server.on('connection', (socket) => connections.push(socket));
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  const bound = server.address();
  const port = typeof bound === 'object' && bound ? bound.port : 0;
  return {
    origin: `http://127.0.0.1:${port}`,
    port,
    requests,
    connections,
    [Symbol.asyncDispose]: async () => {
      server.closeAllConnections();
      await new Promise((resolve) => server.close(resolve));
    },
  };
}

const asked = (url: string, more: object = {}, given: Parameters<typeof context>[0] = {}) =>
  ask(http.schema.parse({ kind: 'http', url, ...more }), context(given));
const reasonOf = async (...given: Parameters<typeof asked>) =>
  (await asked(...given)).trouble?.reason ?? null;

describe('what is sent', () => {
  test('an honest request, once, over a connection that is closed after it', async () => {
    await using one = await site((_request, response) => response.end('ok'));
    expect(await asked(`${one.origin}/a/b?c=d#e`)).toMatchObject({
      outcome: 'answered',
      trouble: null,
      facts: { status: 200, httpVersion: 'HTTP/1.1' },
    });
    expect(one.requests).toEqual([
      {
        method: 'GET',
        url: '/a/b?c=d',
        body: '',
        headers: {
          host: `127.0.0.1:${one.port}`,
          connection: 'close',
          accept: '*/*',
          'accept-encoding': 'identity',
          'cache-control': 'no-cache',
          'user-agent': expect.stringMatching(/^Rollcall\/\d+\.\d+\.\d+ \(probe\)$/),
        },
      },
    ]);
    expect(one.connections).toHaveLength(1);
    await expect.poll(() => one.connections[0]?.destroyed).toBe(true);
  });

  test("the owner's header fields, in place of the probe's own", async () => {
    await using one = await site((_request, response) => response.end());
    await asked(one.origin, { headers: { 'User-Agent': 'mine', 'X-Key': 'k' } });
    expect(one.requests[0]?.headers).toMatchObject({ 'user-agent': 'mine', 'x-key': 'k' });
  });

  test('the account of the URL, as RFC 7617 §2 writes it', async () => {
    await using one = await site((_request, response) => response.end());
    // The example of RFC 7617 §2: Aladdin, open sesame.
    await asked(one.origin.replace('//', '//Aladdin:open%20sesame@'));
    expect(one.requests[0]?.headers.authorization).toBe('Basic QWxhZGRpbjpvcGVuIHNlc2FtZQ==');
    // The example of RFC 7617 §2.1, in UTF-8: test, 123£.
    await asked(one.origin.replace('//', '//test:123%C2%A3@'));
    expect(one.requests[1]?.headers.authorization).toBe('Basic dGVzdDoxMjPCow==');
  });

  test('a body', async () => {
    await using one = await site((_request, response) => response.end());
    await asked(one.origin, { method: 'POST', body: '{"ask":"häuser"}' });
    expect(one.requests[0]).toMatchObject({ method: 'POST', body: '{"ask":"häuser"}' });
  });

  test('the name of the URL, to the address of `connect`', async () => {
    await using one = await site((_request, response) => response.end());
    const seen = await asked('http://shop.fernhill.home.arpa/x', {
      connect: `127.0.0.1:${one.port}`,
    });
    expect(seen.outcome).toBe('answered');
    expect(one.requests[0]?.headers.host).toBe('shop.fernhill.home.arpa');
  });

  test('HEAD is answered without a body, whatever length is announced (RFC 9110 §9.3.2)', async () => {
    await using one = await site((_request, response) => {
      response.setHeader('content-length', '100000');
      response.end();
    });
    expect(await reasonOf(one.origin, { method: 'HEAD' })).toBeNull();
  });
});

describe('phases', () => {
  test('each is timed apart, and those that did not happen are absent', async () => {
    await using one = await site((_request, response) => response.end());
    const { phases, tookUs } = await asked(one.origin);
    expect(Object.keys(phases)).toEqual(['connectUs', 'answerUs']);
    expect((phases.connectUs ?? 0) + (phases.answerUs ?? 0)).toBeLessThanOrEqual(tookUs + 2);
    const named = await asked(
      `http://shop.test:${one.port}`,
      {},
      { lookup: async () => ['127.0.0.1'] },
    );
    expect(Object.keys(named.phases)).toEqual(['resolveUs', 'connectUs', 'answerUs']);
  });
});

describe('expectations', () => {
  test.each([
    [{ status: 201 }, 'wrong-status'],
    [{ status: ['2xx'], text: 'Kiln' }, null],
    [{ text: 'Oven' }, 'text-missing'],
    [{ text: '/"state": *"r/' }, null],
    [{ json: { path: '$.state', equals: 'ready' } }, null],
    [{ json: { path: '$.state', equals: 'busy' } }, 'value-differs'],
  ])('%j: %s', async (expected, reason) => {
    await using one = await site((_request, response) =>
      response.end('{"state": "ready", "of": "Kiln"}'),
    );
    expect(await reasonOf(one.origin, { expect: expected })).toBe(reason);
  });

  test('the status of an answer that troubles is a fact', async () => {
    await using one = await site((_request, response) => response.writeHead(503).end());
    expect(await asked(one.origin)).toMatchObject({
      outcome: 'failed',
      trouble: { layer: 'answer', reason: 'server-error' },
      facts: { status: 503 },
    });
  });

  test('a busy service is limited, not failed', async () => {
    await using one = await site((_request, response) => response.writeHead(429).end());
    expect(await asked(one.origin)).toMatchObject({
      outcome: 'limited',
      trouble: { reason: 'under-load' },
    });
  });

  test('a question for the account is an answer; a refusal of the account limits', async () => {
    await using one = await site((_request, response) => response.writeHead(401).end());
    expect(await reasonOf(one.origin)).toBeNull();
    const withKey = { headers: { 'X-Api-Key': 'k' } };
    expect(await asked(one.origin, withKey)).toMatchObject({
      outcome: 'limited',
      trouble: { reason: 'sign-in-refused' },
    });
  });

  test('interim answers are skipped (RFC 9110 §15.2)', async () => {
    await using one = await peer((socket) =>
      socket.once('data', () =>
        socket.end(
          'HTTP/1.1 102 Processing\r\n\r\nHTTP/1.1 103 Early Hints\r\nlink: <a>\r\n\r\nHTTP/1.1 204 No Content\r\n\r\n',
        ),
      ),
    );
    expect(await asked(`http://127.0.0.1:${one.port}`)).toMatchObject({ facts: { status: 204 } });
  });

  test.each([
    // RFC 9112 §4: the reason phrase may be absent.
    ['HTTP/1.1 200\r\ncontent-length: 0\r\n\r\n', 'HTTP/1.1'],
    ['HTTP/1.1 200 \r\ncontent-length: 0\r\n\r\n', 'HTTP/1.1'],
    ['HTTP/1.0 200 OK\r\n\r\nbody until the end', 'HTTP/1.0'],
  ])('%j is an answer', async (bytes, httpVersion) => {
    await using one = await peer((socket) => socket.once('data', () => socket.end(bytes)));
    expect(await asked(`http://127.0.0.1:${one.port}`)).toMatchObject({
      outcome: 'answered',
      facts: { status: 200, httpVersion },
    });
  });
});

describe('redirects', () => {
  const leading =
    (to: (path: string) => string | null, status = 302): RequestListener =>
    (request, response) => {
      const location = to(request.url ?? '');
      if (location === null) response.end('arrived');
      else response.writeHead(status, { location }).end();
    };

  test('are followed, each over a connection of its own, and the last address is told', async () => {
    await using one = await site(leading((path) => (path === '/' ? '/in?ticket=7' : null)));
    expect(await asked(one.origin, { expect: { text: 'arrived' } })).toMatchObject({
      outcome: 'answered',
      facts: { status: 200, finalUrl: `${one.origin}/in` },
    });
    expect(one.connections).toHaveLength(2);
  });

  test('five are followed, a sixth is not', async () => {
    const stairs = (count: number) =>
      leading((path) => (Number(path.slice(1)) < count ? `/${Number(path.slice(1)) + 1}` : null));
    await using five = await site(stairs(5));
    expect(await reasonOf(`${five.origin}/0`)).toBeNull();
    await using six = await site(stairs(6));
    expect(await asked(`${six.origin}/0`)).toMatchObject({
      trouble: { reason: 'wrong-status', detail: expect.stringContaining('redirect number 6') },
      facts: { finalUrl: `${six.origin}/5` },
    });
    expect(six.requests).toHaveLength(6);
  });

  test('a circle is left at once', async () => {
    await using one = await site(leading((path) => (path === '/a' ? '/b' : '/a')));
    expect((await asked(`${one.origin}/a`)).trouble?.detail).toContain('circle');
    expect(one.requests).toHaveLength(2);
  });

  test('are an answer where they are not to be followed, or are what is expected', async () => {
    await using one = await site(leading(() => '/in'));
    expect(await reasonOf(one.origin, { redirects: { follow: false } })).toBeNull();
    expect(await reasonOf(one.origin, { expect: { status: 302 } })).toBeNull();
    expect(one.requests).toHaveLength(2);
  });

  test('to another origin carry nothing of the owner, neither there nor back', async () => {
    let back = '';
    await using other = await site((request, response) => {
      if (request.url === '/there') response.writeHead(302, { location: back }).end();
      else response.end();
    });
    await using one = await site((request, response) => {
      if (request.url === '/back') response.end();
      else response.writeHead(307, { location: `${other.origin}/there` }).end();
    });
    back = `${one.origin}/back`;
    const headers = { Cookie: 'c=opensesame', 'X-Key': 'opensesame', 'User-Agent': 'opensesame' };
    const url = `${one.origin.replace('//', '//me:opensesame@')}/start`;
    const seen = await asked(url, { headers });
    expect(seen.outcome).toBe('answered');
    expect(one.requests[0]?.headers).toMatchObject({
      cookie: 'c=opensesame',
      'x-key': 'opensesame',
    });
    const basic = Buffer.from('me:opensesame').toString('base64');
    for (const request of [...other.requests, one.requests[1]]) {
      expect(JSON.stringify(request)).not.toMatch(new RegExp(`opensesame|${basic.slice(0, 12)}`));
      expect(request?.headers.authorization).toBeUndefined();
    }
    expect(JSON.stringify(seen)).not.toContain('opensesame');
  });

  test('`connect` holds for the configured origin alone', async () => {
    await using other = await site((_request, response) => response.end());
    await using one = await site(leading((path) => (path === '/' ? '/same' : other.origin)));
    const seen = await asked('http://shop.test/', { connect: `127.0.0.1:${one.port}` });
    expect(seen.facts).toMatchObject({ finalUrl: `${other.origin}/` });
    expect([one.requests.length, other.requests.length]).toEqual([2, 1]);
  });

  test('the limit of time holds over all of them together', async () => {
    await using one = await site((request, response) => {
      const location = `/${Number((request.url ?? '').slice(1)) + 1}`;
      setTimeout(() => response.writeHead(302, { location }).end(), 120);
    });
    const startedMs = performance.now();
    expect(await reasonOf(`${one.origin}/0`, {}, { timeoutMs: 300 })).toBe('no-reply');
    expect(performance.now() - startedMs).toBeLessThan(1_000);
  });
});

describe('no HTTP', () => {
  test.each([
    ['nothing listens', 'refused', null],
    ['silence', 'no-reply', () => {}],
    ['an end without a byte', 'closed-early', (socket: Socket) => socket.end()],
    [
      'an end after the request',
      'closed-early',
      (socket: Socket) => socket.once('data', () => socket.end()),
    ],
    ['a reset', 'reset', (socket: Socket) => socket.once('data', () => socket.resetAndDestroy())],
    [
      'another protocol that greets',
      'other-protocol',
      (socket: Socket) => socket.write('SSH-2.0-x\r\n'),
    ],
    [
      'bytes of no protocol',
      'other-protocol',
      (socket: Socket) => socket.write('\u0000\u0001\u0002'),
    ],
    [
      'a TLS alert',
      'other-protocol',
      (socket: Socket) =>
        socket.once('data', () => socket.end(Buffer.from('15030100020246', 'hex'))),
    ],
  ])('%s is %s', async (_name, reason, behave) => {
    await using one = await peer(behave ?? (() => {}));
    const port = behave === null ? await closedPort() : one.port;
    expect(await reasonOf(`http://127.0.0.1:${port}`, {}, { timeoutMs: 400 })).toBe(reason);
  });

  test('another protocol is named', async () => {
    await using one = await peer((socket) => socket.write('SSH-2.0-x\r\n'));
    expect((await asked(`http://127.0.0.1:${one.port}`)).trouble?.detail).toBe(
      `127.0.0.1:${one.port} speaks SSH, not HTTP`,
    );
  });

  test('a name without an address is not found', async () => {
    const lookup = () => Promise.reject(Object.assign(new Error('no'), { code: 'ENOTFOUND' }));
    expect(await asked('http://shop.test/', {}, { lookup })).toMatchObject({
      outcome: 'failed',
      trouble: { layer: 'name', reason: 'not-found' },
    });
  });

  test.each([0, 20])('stopped after %d ms it ends at once and proves nothing', async (afterMs) => {
    await using one = await peer(() => {});
    const stop = new AbortController();
    if (afterMs === 0) stop.abort();
    else setTimeout(() => stop.abort(), afterMs);
    const startedMs = performance.now();
    const seen = await asked(`http://127.0.0.1:${one.port}`, {}, { signal: stop.signal });
    expect(seen.outcome).toBe('unproven');
    expect(performance.now() - startedMs).toBeLessThan(2_000);
  });

  test('no connection is left behind', async () => {
    await using one = await peer(() => {});
    await asked(`http://127.0.0.1:${one.port}`, {}, { timeoutMs: 100 });
    expect(await one.endings()).toHaveLength(1);
    // The port still answers others.
    const other = connect(one.port, '127.0.0.1');
    await new Promise((resolve) => other.once('connect', resolve));
    other.destroy();
  });
});
