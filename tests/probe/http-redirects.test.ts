/** Where a redirect leads and what goes along. Source: RFC 9110 §15.4. */
import { describe, expect, test } from 'vitest';
import { type Hop, nextHop } from '../../src/probe/http-redirects.ts';

const secrets = { Authorization: 'Bearer opensesame', Cookie: 'a=b', 'X-Key': 'k' };

const hop = (url: string, given: Partial<Hop> = {}): Hop => ({
  url: new URL(url),
  method: 'GET',
  headers: secrets,
  body: null,
  ...given,
});
const from = hop('https://shop.fernhill.home.arpa/a/b?q=1');

const next = (
  location: string | undefined,
  given: { status?: number; hop?: Hop; earlier?: Hop[]; max?: number } = {},
) =>
  nextHop(
    { status: given.status ?? 302, location },
    { hop: given.hop ?? from, earlier: given.earlier ?? [] },
    given.max ?? 5,
  );
const refusal = (...given: Parameters<typeof next>) => {
  const step = next(...given);
  return step.ok ? null : `${step.trouble.reason}: ${step.trouble.detail}`;
};

test.each([
  ['/c', 'https://shop.fernhill.home.arpa/c'],
  ['c?x=2', 'https://shop.fernhill.home.arpa/a/c?x=2'],
  ['../', 'https://shop.fernhill.home.arpa/'],
  ['?x=2', 'https://shop.fernhill.home.arpa/a/b?x=2'],
  ['//other.test/d', 'https://other.test/d'],
  ['https://other.test#frag', 'https://other.test/'],
  // User info in a redirect is the peer's wish, not the owner's account.
  ['https://me:pw@other.test/', 'https://other.test/'],
])('%s leads to %s', (location, href) => {
  const step = next(location);
  expect(step.ok && step.value.url.href).toBe(href);
});

describe('headers', () => {
  const headersAfter = (location: string, given: Partial<Hop> = {}) => {
    const step = next(location, { hop: { ...from, ...given } });
    return step.ok ? step.value.headers : null;
  };

  test('stay within the origin', () => {
    expect(headersAfter('https://shop.fernhill.home.arpa:443/elsewhere')).toEqual(secrets);
  });

  test.each([
    'https://other.test/',
    'https://shop.fernhill.home.arpa:8443/',
    'https://shop.fernhill.home.arpa.other.test/',
  ])('do not go to %s', (location) => {
    expect(headersAfter(location)).toEqual({});
  });

  test('do not go from http to https of the same host: that is another origin (RFC 9110 §4.3.1)', () => {
    const url = new URL('http://shop.fernhill.home.arpa/');
    expect(headersAfter('https://shop.fernhill.home.arpa/', { url })).toEqual({});
  });

  test('that were dropped stay away on the way back', () => {
    const away = next('https://other.test/');
    if (!away.ok) throw new Error('expected to be followed');
    const back = next('https://shop.fernhill.home.arpa/back', { hop: away.value, earlier: [from] });
    expect(back).toMatchObject({ ok: true, value: { headers: {} } });
  });
});

describe('methods and bodies', () => {
  const post = { ...from, method: 'POST', body: 'x' } as const;
  const head = { ...from, method: 'HEAD' } as const;
  test.each([
    [301, post, 'GET', null],
    [302, post, 'GET', null],
    [303, post, 'GET', null],
    [307, post, 'POST', 'x'],
    [308, post, 'POST', 'x'],
    [303, head, 'HEAD', null],
    [302, head, 'HEAD', null],
  ])('status %d', (status, asked, method, body) => {
    expect(next('/c', { status, hop: asked })).toMatchObject({ ok: true, value: { method, body } });
  });

  test.each([307, 308])('status %d does not take a body to another origin', (status) => {
    expect(refusal('https://other.test/', { status, hop: post })).toContain(
      "would take the request's body to https://other.test/",
    );
  });
});

describe('refused', () => {
  test.each([undefined, '', 'http://', 'javascript:alert(1)', 'ftp://other.test/', 'https://['])(
    'the location %s leads nowhere, or in a circle',
    (location) => {
      expect(refusal(location)).toMatch(/^wrong-status: .*(leads nowhere|circle)/);
    },
  );

  test('the way out of TLS', () => {
    expect(refusal('http://shop.fernhill.home.arpa/?token=opensesame')).toBe(
      'wrong-status: https://shop.fernhill.home.arpa/a/b answers with status 302 (Found): the redirect leaves TLS for http://shop.fernhill.home.arpa/, and is not followed',
    );
  });

  test('a circle, whether short or long', () => {
    expect(refusal(from.url.href)).toContain('circle');
    expect(refusal('/x', { earlier: [hop('https://shop.fernhill.home.arpa/x')] })).toContain(
      'circle',
    );
  });

  test('one more than allowed', () => {
    const earlier = ['1', '2'].map((path) => hop(`https://shop.fernhill.home.arpa/${path}`));
    expect(refusal('/3', { earlier, max: 3 })).toBeNull();
    expect(refusal('/3', { earlier, max: 2 })).toContain('redirect number 3, too many');
  });
});
