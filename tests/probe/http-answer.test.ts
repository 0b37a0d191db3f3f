/** What an HTTP answer is worth. Status meanings: RFC 9110 §15. */
import { describe, expect, test } from 'vitest';
import {
  factsOf,
  type HttpAnswer,
  type HttpAsked,
  judgeAnswer,
} from '../../src/probe/http-answer.ts';
import { http } from '../../src/probe/settings/http.ts';

const url = 'https://shop.fernhill.home.arpa/state?token=opensesame';
const at = Date.parse('2026-11-25T04:00:00Z');

const answer = (given: Partial<Omit<HttpAnswer, 'body'>> & { body?: string | Buffer } = {}) => ({
  status: 200,
  headers: {},
  cut: false,
  version: 'HTTP/1.1',
  ...given,
  body: Buffer.from(given.body ?? ''),
});
const expecting = (expected: object) =>
  http.schema.parse({ kind: 'http', url, expect: expected }).expect;
const asked = (given: Partial<HttpAsked> = {}): HttpAsked => ({
  url: new URL(url),
  method: 'GET',
  withAccount: false,
  expect: {},
  follow: true,
  ...given,
});
const reasonOf = (given: Parameters<typeof answer>[0], how: Partial<HttpAsked> = {}) =>
  judgeAnswer(answer(given), asked(how))?.reason ?? null;

describe('without an expectation', () => {
  test.each([
    [200, null],
    [204, null],
    [299, null],
    // A valid reply that asks to sign in is an answer (design §5).
    [401, null],
    [407, null],
    [304, 'wrong-status'],
    [400, 'wrong-status'],
    [403, 'wrong-status'],
    [404, 'wrong-status'],
    [405, 'wrong-status'],
    [408, 'wrong-status'],
    [410, 'wrong-status'],
    [418, 'wrong-status'],
    [425, 'wrong-status'],
    [429, 'under-load'],
    [500, 'server-error'],
    [501, 'server-error'],
    [502, 'server-error'],
    [503, 'server-error'],
    [504, 'server-error'],
    [599, 'server-error'],
  ])('status %d is %s', (status, reason) => {
    expect(reasonOf({ status })).toBe(reason);
  });

  test.each([401, 403, 407])(
    'status %d to a probe with an account refuses that account',
    (status) => {
      expect(reasonOf({ status }, { withAccount: true })).toBe('sign-in-refused');
    },
  );

  test.each([301, 302, 307])(
    'status %d is an answer where redirects are not followed',
    (status) => {
      expect(reasonOf({ status }, { follow: false })).toBeNull();
    },
  );
});

describe('with expected statuses only these count', () => {
  test.each([
    [[204], 204, null],
    [[204], 200, 'wrong-status'],
    [['4xx'], 404, null],
    [['2xx', 503], 503, null],
    [[200], 401, 'wrong-status'],
    [['2xx'], 302, 'wrong-status'],
    [['2xx'], 500, 'server-error'],
  ])('%j: %d is %s', (status, got, reason) => {
    expect(reasonOf({ status: got }, { expect: expecting({ status }), follow: false })).toBe(
      reason,
    );
  });
});

describe('sentences', () => {
  test('a front that answers is told apart from the service behind it', () => {
    expect(judgeAnswer(answer({ status: 502 }), asked())?.detail).toBe(
      'the front answers with status 502 (Bad Gateway), the service behind it does not',
    );
  });

  test('a pause that is asked for is told (RFC 9110 §10.2.3)', () => {
    const busy = answer({ status: 503, headers: { 'retry-after': '120' } });
    expect(judgeAnswer(busy, asked())?.detail).toContain('(ask again after 120 s)');
    const odd = answer({ status: 503, headers: { 'retry-after': '-1 <b>' } });
    expect(judgeAnswer(odd, asked())?.detail).not.toContain('<b>');
  });

  test('the address is told without its query', () => {
    expect(judgeAnswer(answer({ status: 404 }), asked())?.detail).toBe(
      'https://shop.fernhill.home.arpa/state answers with status 404 (Not Found)',
    );
  });
});

describe('text', () => {
  const text = (expected: string, given: Parameters<typeof answer>[0]) =>
    judgeAnswer(answer(given), asked({ expect: expecting({ text: expected }) }));

  test.each([
    ['Kiln', 'the Kiln log', true],
    ['kiln', 'the Kiln log', false],
    ['/kiln/i', 'the Kiln log', true],
    ['/^log$/m', 'kiln\nlog\n', true],
    ['/^log$/', 'kiln\nlog\n', false],
    // A slash at one end only is a text.
    ['/health', 'see /health', true],
  ])('%s in %j: %s', (expected, body, found) => {
    expect(text(expected, { body })?.reason ?? null).toBe(found ? null : 'text-missing');
  });

  test('it is read in the charset that the answer names', () => {
    const body = Buffer.from('Töpferei', 'latin1');
    const headers = { 'content-type': 'text/html; charset=ISO-8859-1' };
    expect(text('Töpferei', { body, headers })).toBeNull();
    expect(text('Töpferei', { body })?.reason).toBe('text-missing');
    const unknown = { 'content-type': 'text/html; charset=klingon' };
    expect(text('ok', { body: 'ok', headers: unknown })).toBeNull();
  });

  test('why it may be there all the same is told', () => {
    const headers = { 'content-encoding': 'gzip' };
    expect(text('Kiln', { body: 'x', headers })?.detail).toBe(
      'its answer lacks "Kiln" (it is sent as gzip, though asked not to)',
    );
    expect(text('Kiln', { body: 'abc', cut: true })?.detail).toBe(
      'its answer lacks "Kiln" in its first 3 bytes',
    );
  });

  test('an expression that runs away on this text is stopped and told', () => {
    expect(text('/^(a+)+$/', { body: `${'a'.repeat(64)}b` })).toMatchObject({
      reason: 'text-missing',
      detail: 'the search for /^(a+)+$/ took too long on its answer',
    });
  });

  test.each([401, 407])('status %d does not stand for a text that is expected', (status) => {
    expect(text('Kiln', { status })).toMatchObject({
      reason: 'wrong-status',
      hint: expect.stringContaining('sign-in'),
    });
  });
});

describe('a value in JSON (paths: RFC 9535)', () => {
  const value = (json: object, body: string, more: object = {}) =>
    judgeAnswer(answer({ body, ...more }), asked({ expect: expecting({ json }) }));

  test.each([
    ['$.state', 'ready', '{"state":"ready"}'],
    ['$.ready', true, '{"ready":true}'],
    ['$.queue', 0, '{"queue":0.0}'],
    ['$.error', null, '{"error":null}'],
    ['$.checks[*].state', 'ok', '{"checks":[{"state":"ok"},{"state":"ok"}]}'],
    ["$['a b'][-1]", 2, '{"a b":[1,2]}'],
    ['$', 'ready', '"ready"'],
  ])('%s equals %j in %s', (path, equals, body) => {
    expect(value({ path, equals }, body)).toBeNull();
  });

  test.each([
    ['{"state":"starting"}', '$.state is "starting", not "ready"'],
    ['{"state":7}', '$.state is 7, not "ready"'],
    ['{"state":["ready"]}', '$.state is a list, not "ready"'],
    ['{"state":{}}', '$.state is an object, not "ready"'],
    ['{"state":null}', '$.state is null, not "ready"'],
    ['{"stat":"ready"}', 'its answer has nothing at $.state, where "ready" is expected'],
    ['ready', 'its answer is not JSON'],
    ['', 'its answer is not JSON'],
    ['{"state":"\\u001b[31m\\u202ered"}', '$.state is "\\u001b[31m red", not "ready"'],
  ])('%s: %s', (body, detail) => {
    expect(value({ path: '$.state', equals: 'ready' }, body)).toMatchObject({
      reason: 'value-differs',
      detail,
    });
  });

  test('a number is not its text', () => {
    expect(value({ path: '$.n', equals: '1' }, '{"n":1}')?.detail).toBe('$.n is 1, not "1"');
  });

  test('one of several that differs is enough', () => {
    expect(value({ path: '$[*]', equals: 1 }, '[1,1,2]')?.detail).toBe('$[*] is 2, not 1');
  });

  test('JSON nested 100 000 deep does no harm', () => {
    const deep = `${'['.repeat(100_000)}${']'.repeat(100_000)}`;
    expect(value({ path: '$[0]', equals: 1 }, deep)?.detail).toBe('$[0] is a list, not 1');
    expect(value({ path: '$..a', equals: 1 }, deep)?.reason).toBe('value-differs');
  });

  test('a path that runs away is stopped and told', () => {
    const deep = `${'['.repeat(2_000)}${']'.repeat(2_000)}`;
    expect(value({ path: '$..*..*..*..*', equals: 1 }, deep)?.detail).toBe(
      'the search for $..*..*..*..* took too long on its answer',
    );
  });

  test('JSON of which only a part was read is told as such', () => {
    expect(value({ path: '$.a', equals: 1 }, '{"a":1', { cut: true })?.detail).toBe(
      'its answer is not JSON in its first 6 bytes',
    );
  });
});

describe('facts', () => {
  test('status, version and what the server calls itself', () => {
    expect(factsOf(answer({ headers: { server: 'kiln/1' } }), at)).toMatchObject({
      status: 200,
      httpVersion: 'HTTP/1.1',
      server: 'kiln/1',
    });
  });

  // The example of RFC 9110 §5.6.7 gives the form; a header's second covers the whole of it.
  test.each([
    ['Wed, 25 Nov 2026 04:00:00 GMT', null],
    ['Wed, 25 Nov 2026 03:59:58 GMT', null],
    ['Wed, 25 Nov 2026 03:58:00 GMT', -120_000],
    ['Wed, 25 Nov 2026 04:01:00 GMT', 60_000],
    ['yesterday', null],
    ['2026-11-25T03:00:00Z', null],
  ])('a server that says it is %s is ahead by %s ms', (date, aheadMs) => {
    const { clockAheadMs } = factsOf(answer({ headers: { date } }), at);
    expect(clockAheadMs ?? null).toBe(aheadMs);
  });

  test('an answer out of a cache has an age, and its date says nothing (RFC 9111 §5.1)', () => {
    const headers = { age: '90', date: 'Wed, 25 Nov 2026 03:58:30 GMT' };
    expect(factsOf(answer({ headers }), at)).toMatchObject({ ageMs: 90_000 });
    expect(factsOf(answer({ headers }), at)).not.toHaveProperty('clockAheadMs');
    expect(factsOf(answer({ headers: { age: '0' } }), at)).not.toHaveProperty('ageMs');
    expect(factsOf(answer({ headers: { age: '-5' } }), at)).not.toHaveProperty('ageMs');
  });
});
