/** HTTP servers that mean harm, or are broken beyond sense: the probe ends in time, keeps little, and says what it saw. */
import type { Socket } from 'node:net';
import { gzipSync } from 'node:zlib';
import { describe, expect, test } from 'vitest';
import { httpBodyBytesMax } from '../../src/base/limits.ts';
import { ask } from '../../src/probe/registry.ts';
import { http } from '../../src/probe/settings/http.ts';
import { context, drip, peer } from '../support/peer.ts';

const crlf = '\r\n';
const ok = `HTTP/1.1 200 OK${crlf}`;

async function asked(behave: (socket: Socket) => void, more: object = {}, timeoutMs = 5_000) {
  await using one = await peer(behave);
  const settings = http.schema.parse({
    kind: 'http',
    url: `http://127.0.0.1:${one.port}/`,
    ...more,
  });
  const startedMs = performance.now();
  const seen = await ask(settings, context({ timeoutMs }));
  return { ...seen, reason: seen.trouble?.reason ?? null, lastedMs: performance.now() - startedMs };
}

/** Answers the request with these bytes, and then goes on sending `again` as fast as the other side takes it. */
const answering =
  (bytes: string | Buffer, again?: string | Buffer) =>
  (socket: Socket): void => {
    socket.on('error', () => {});
    socket.once('data', () => {
      socket.write(bytes);
      if (again !== undefined) pour(socket, Buffer.from(again));
    });
  };

function pour(socket: Socket, bytes: Buffer): void {
  const chunk = Buffer.concat(
    Array.from({ length: Math.ceil(65_536 / bytes.length) }, () => bytes),
  );
  const on = () => {
    while (!socket.destroyed && socket.write(chunk));
  };
  socket.on('drain', on);
  on();
}

describe('without an end', () => {
  test('a header field', async () => {
    const seen = await asked(answering(`${ok}x: `, 'a'));
    expect(seen).toMatchObject({ reason: 'malformed', outcome: 'failed' });
    expect(seen.trouble?.detail).toContain('longer than 16384 bytes');
  });

  test('header fields', async () => {
    expect(await asked(answering(ok, `x: y${crlf}`))).toMatchObject({ reason: 'malformed' });
  });

  test('a status line', async () => {
    expect(await asked(answering('HTTP/1.1 200 ', 'a'))).toMatchObject({ reason: 'malformed' });
  });

  test('interim answers', async () => {
    const seen = await asked(answering('', `HTTP/1.1 103 Early Hints${crlf}${crlf}`));
    expect(seen.reason).toBe('malformed');
  });

  test('extensions of a chunk', async () => {
    const chunked = `${ok}transfer-encoding: chunked${crlf}${crlf}5;a=`;
    expect(await asked(answering(chunked, 'b'))).toMatchObject({ reason: 'malformed' });
  });

  test('trailer fields', async () => {
    const chunked = `${ok}transfer-encoding: chunked${crlf}${crlf}0${crlf}`;
    expect(await asked(answering(chunked, `x: y${crlf}`))).toMatchObject({ reason: 'malformed' });
  });

  test.each([
    ['until the connection ends', `${ok}${crlf}`, 'a'],
    ['in chunks', `${ok}transfer-encoding: chunked${crlf}${crlf}`, `1${crlf}a${crlf}`],
    ['of announced size', `${ok}content-length: 9007199254740991${crlf}${crlf}`, 'a'],
  ])(
    'a body %s is read up to its limit, and what it holds until then counts',
    async (_name, head, again) => {
      expect(await asked(answering(head, again))).toMatchObject({
        outcome: 'answered',
        facts: { status: 200 },
      });
      const missing = await asked(answering(head, again), { expect: { text: 'Kiln' } });
      expect(missing.trouble).toMatchObject({
        reason: 'text-missing',
        detail: `its answer lacks "Kiln" in its first ${httpBodyBytesMax} bytes`,
      });
    },
  );
});

describe('slower than any patience', () => {
  const slowly = (text: string) => (socket: Socket) => {
    socket.on('error', () => {});
    socket.once('data', () =>
      drip(
        socket,
        Array.from(text, (char) => Buffer.from(char)),
        20,
      ),
    );
  };

  test.each([
    ['header', `${ok}x: ${'a'.repeat(500)}`],
    ['body', `${ok}content-length: 500${crlf}${crlf}${'a'.repeat(500)}`],
  ])('a %s by single bytes does not begin the limit anew', async (_name, text) => {
    const seen = await asked(slowly(text), {}, 300);
    expect(seen).toMatchObject({
      reason: 'no-reply',
      trouble: { detail: expect.stringContaining('did not finish its answer within 0.3 s') },
    });
    expect(seen.lastedMs).toBeLessThan(1_500);
  });

  test('an ordinary answer by single bytes is an answer', async () => {
    const text = `${ok}content-length: 4${crlf}${crlf}Kiln`;
    const bytes = Array.from(text, (char) => Buffer.from(char));
    const seen = await asked((socket) => socket.once('data', () => drip(socket, bytes)), {
      expect: { text: 'Kiln' },
    });
    expect(seen).toMatchObject({ outcome: 'answered', facts: { httpVersion: 'HTTP/1.1' } });
  });
});

describe('framing that can be read in two ways, or in none (RFC 9112 §6.3, §11.2)', () => {
  test.each([
    [
      'length and chunks',
      `content-length: 3${crlf}transfer-encoding: chunked${crlf}${crlf}0${crlf}${crlf}`,
    ],
    ['two lengths', `content-length: 3${crlf}content-length: 4${crlf}${crlf}abcd`],
    ['a length that is none', `content-length: 3x${crlf}${crlf}abc`],
    ['a negative length', `content-length: -3${crlf}${crlf}abc`],
    ['a length beyond counting', `content-length: ${'9'.repeat(40)}${crlf}${crlf}abc`],
    ['a chunk of 2^64 bytes', `transfer-encoding: chunked${crlf}${crlf}10000000000000000${crlf}a`],
    ['a chunk size that is none', `transfer-encoding: chunked${crlf}${crlf}zz${crlf}a`],
    ['a space before the colon', `content-length : 3${crlf}${crlf}abc`],
    ['a NUL in a value', `x: a\u0000b${crlf}${crlf}`],
    ['a bare CR in a value', `x: a\rb: c${crlf}${crlf}`],
    ['a line without a colon', `nonsense${crlf}${crlf}`],
  ])('%s is malformed', async (_name, rest) => {
    expect(await asked((socket) => socket.once('data', () => socket.end(ok + rest)))).toMatchObject(
      {
        outcome: 'failed',
        reason: 'malformed',
      },
    );
  });

  test.each([
    ['HTTP/1.1 2000 OK', 'malformed'],
    ['HTTP/1.1 abc OK', 'malformed'],
    ['HTTP/1.x 200 OK', 'malformed'],
    ['HTTP/9.9 200 OK', 'other-protocol'],
    ['HTTP/1.1 100 Continue', 'malformed'],
    [`HTTP/1.1 101 Switching Protocols${crlf}upgrade: x${crlf}connection: upgrade`, 'malformed'],
    ['HTTP/1.1 999 Odd', 'server-error'],
  ])('%s is %s', async (line, reason) => {
    const bytes = `${line}${crlf}content-length: 0${crlf}${crlf}`;
    expect((await asked((socket) => socket.once('data', () => socket.end(bytes)))).reason).toBe(
      reason,
    );
  });

  test.each([
    ['a body shorter than announced', `content-length: 10${crlf}${crlf}abc`],
    ['chunks without the last one', `transfer-encoding: chunked${crlf}${crlf}3${crlf}abc${crlf}`],
  ])('%s was cut off', async (_name, rest) => {
    expect(await asked((socket) => socket.once('data', () => socket.end(ok + rest)))).toMatchObject(
      {
        reason: 'closed-early',
        trouble: { detail: expect.stringContaining('in the middle of its answer') },
      },
    );
  });
});

describe('what it says of itself', () => {
  test('a body that unpacks to a thousand times its size stays packed', async () => {
    const bomb = gzipSync(Buffer.alloc(20_000_000, 'Kiln'));
    const head = `${ok}content-encoding: gzip${crlf}content-length: ${bomb.length}${crlf}${crlf}`;
    const seen = await asked(answering(Buffer.concat([Buffer.from(head), bomb])), {
      expect: { text: 'Kiln' },
    });
    expect(seen.trouble?.detail).toBe(
      'its answer lacks "Kiln" (it is sent as gzip, though asked not to)',
    );
  });

  test('control characters and marks of direction do not come through', async () => {
    const head = `${ok}server: kiln\u0085\u202e<b>${crlf}content-length: 0${crlf}${crlf}`;
    const { facts } = await asked((socket) => socket.once('data', () => socket.end(head)));
    const { server } = facts as { server?: unknown };
    expect(server).toMatch(/^kiln.*<b>$/);
    // biome-ignore lint/suspicious/noControlCharactersInRegex: these must not be there
    expect(server).not.toMatch(/[\u0000-\u001f\u007f-\u009f\u202e]/);
  });

  test('a terminal sequence in a header field breaks the answer (RFC 9110 §5.5)', async () => {
    const head = `${ok}server: kiln\u001b[2J${crlf}content-length: 0${crlf}${crlf}`;
    expect(await asked((socket) => socket.once('data', () => socket.end(head)))).toMatchObject({
      reason: 'malformed',
    });
  });

  test('fields named like parts of an object are fields like any other', async () => {
    const head = `${ok}__proto__: x${crlf}constructor: y${crlf}content-length: 0${crlf}${crlf}`;
    expect(await asked((socket) => socket.once('data', () => socket.end(head)))).toMatchObject({
      outcome: 'answered',
    });
  });

  test('a location with a line break in it leads nowhere else', async () => {
    const head = `HTTP/1.1 302 Found${crlf}location: /x%0d%0aSet-Cookie:a${crlf}content-length: 0${crlf}${crlf}`;
    await using one = await peer((socket) => socket.once('data', () => socket.end(head)));
    await ask(http.schema.parse({ kind: 'http', url: `http://127.0.0.1:${one.port}/` }), context());
    expect(one.received().toString()).not.toMatch(/^Set-Cookie/m);
  });

  test('a health report nested 100 000 deep is read', async () => {
    const body = `{"checks":${'['.repeat(100_000)}${']'.repeat(100_000)},"status":"pass"}`;
    const head = `${ok}content-type: application/health+json${crlf}content-length: ${body.length}${crlf}${crlf}`;
    expect(await asked(answering(head + body))).toMatchObject({ outcome: 'answered' });
  });

  test('a hundred answers in a row are one', async () => {
    const one = `${ok}content-length: 2${crlf}${crlf}ok`;
    expect(
      await asked((socket) => socket.once('data', () => socket.write(one.repeat(100)))),
    ).toMatchObject({
      outcome: 'answered',
    });
  });
});
