/** The `http` probe against real TLS servers, under authorities and certificates that openssl makes on the spot. */
import { X509Certificate } from 'node:crypto';
import type { TlsOptions } from 'node:tls';
import { afterAll, describe, expect, test } from 'vitest';
import { pinOf } from '../../src/probe/certificate.ts';
import { ask } from '../../src/probe/registry.ts';
import { http } from '../../src/probe/settings/http.ts';
import { type Issued, makeAuthority, opensslPin } from '../support/authority.ts';
import { selfSigned } from '../support/certificates.ts';
import { context, peer } from '../support/peer.ts';
import { startWeb, type WebPeer } from './support/https.ts';

const authority = makeAuthority('Fernhill authority');
const stranger = makeAuthority('Somebody');
afterAll(() => {
  authority[Symbol.dispose]();
  stranger[Symbol.dispose]();
});

const name = 'shop.fernhill.home.arpa';
const dayMs = 86_400_000;
const days = (count: number) => new Date(Date.now() + count * dayMs);
const trusted = { trust: authority.root.cert };
const good = authority.issue({ names: `DNS:${name}` });

const tlsOf = ({ key, cert }: Issued, ...above: Issued[]): TlsOptions => ({
  key,
  cert: [cert, ...above.map((one) => one.cert)].join(''),
});
const web = (shown: Issued, ...above: Issued[]) => startWeb({ tls: tlsOf(shown, ...above) });

const secret = 'opensesame';
/** Under the name, at the server's own address, with a secret in the request. */
const asked = (one: WebPeer | { port: number }, certificate: object = trusted, more: object = {}) =>
  ask(
    http.schema.parse({
      kind: 'http',
      url: `https://${name}/`,
      connect: `127.0.0.1:${one.port}`,
      headers: { 'X-Key': secret },
      certificate,
      ...more,
    }),
    context(),
  );

test('a server with a certificate of the own authority is answered', async () => {
  await using one = await web(good);
  const seen = await asked(one);
  expect(seen).toMatchObject({
    outcome: 'answered',
    trouble: null,
    facts: {
      status: 200,
      certificateIssuer: 'CN=Fernhill authority',
      certificateEndsAt: new Date(new X509Certificate(good.cert).validTo).toISOString(),
      certificateDaysLeft: 89,
    },
  });
  expect(Object.keys(seen.phases)).toEqual(['connectUs', 'secureUs', 'answerUs']);
  expect(seen.facts).not.toHaveProperty('certificateWarn');
});

test('SNI and Host are those of the URL, whatever address is asked', async () => {
  await using one = await web(good);
  await asked(one);
  expect(one.serverNames).toEqual([name]);
  expect(one.requests[0]?.headers.host).toBe(name);
});

test('an address is judged as an address, and no name is sent for it', async () => {
  await using one = await web(authority.issue({ names: 'IP:127.0.0.1' }));
  const url = `https://127.0.0.1:${one.port}/`;
  expect((await asked(one, trusted, { url })).trouble).toBeNull();
  expect(one.serverNames).toEqual([false]);
  await using named = await web(good);
  const other = `https://127.0.0.1:${named.port}/`;
  expect((await asked(named, trusted, { url: other })).trouble?.reason).toBe('wrong-name');
});

describe('a certificate that is not good ends the exchange before anything is sent', () => {
  const intermediate = () => authority.issue({ authority: true, commonName: 'Between' });
  const expiredBetween = () =>
    authority.issue({ authority: true, commonName: 'Old', from: days(-9), to: days(-1) });
  const below = (by: Issued) => authority.issue({ names: `DNS:${name}`, by });

  test.each<[string, string, () => TlsOptions]>([
    [
      'expired',
      'expired',
      () => tlsOf(authority.issue({ names: `DNS:${name}`, from: days(-9), to: days(-1) })),
    ],
    [
      'not yet valid',
      'not-yet-valid',
      () => tlsOf(authority.issue({ names: `DNS:${name}`, from: days(1), to: days(9) })),
    ],
    [
      'for another name',
      'wrong-name',
      () => tlsOf(authority.issue({ names: 'DNS:other.fernhill.home.arpa' })),
    ],
    [
      'with a common name alone',
      'wrong-name',
      () => tlsOf(authority.issue({ names: null, commonName: name })),
    ],
    ['of another authority', 'untrusted', () => tlsOf(stranger.issue({ names: `DNS:${name}` }))],
    [
      'of another authority that is sent along',
      'untrusted',
      () => tlsOf(stranger.issue({ names: `DNS:${name}` }), stranger.root),
    ],
    ['without its intermediate', 'untrusted', () => tlsOf(below(intermediate()))],
    ['signed by itself', 'untrusted', () => selfSigned(`DNS:${name}`)],
    [
      'below an intermediate that has expired',
      'expired',
      () => {
        const old = expiredBetween();
        return tlsOf(below(old), old);
      },
    ],
    [
      'signed by a certificate that may not sign',
      'untrusted',
      () => {
        const leaf = authority.issue({ names: `DNS:${name}` });
        return tlsOf(below(leaf), leaf);
      },
    ],
  ])('one %s is %s', async (_name, reason, tls) => {
    await using one = await startWeb({ tls: tls() });
    const seen = await asked(one);
    expect(seen).toMatchObject({ outcome: 'failed', trouble: { layer: 'tls', reason } });
    expect(one.requests).toEqual([]);
    expect(JSON.stringify(seen)).not.toContain(secret);
  });

  test('with its intermediate the same is answered', async () => {
    const between = intermediate();
    await using one = await web(below(between), between);
    expect((await asked(one)).trouble).toBeNull();
  });

  test('the intermediate that has expired is named', async () => {
    const old = expiredBetween();
    await using one = await web(below(old), old);
    expect((await asked(one)).trouble?.detail).toMatch(
      /^the certificate above it \(CN=Old\) ended/,
    );
  });

  test('two problems are both told', async () => {
    await using one = await web(
      authority.issue({ names: 'DNS:other.test', from: days(-9), to: days(-1) }),
    );
    expect((await asked(one)).trouble?.detail).toMatch(/ended at .*not for shop\.fernhill/);
  });

  test("the own authority is not in this machine's store", async () => {
    await using one = await web(good);
    expect((await asked(one, { trust: 'system' })).trouble?.reason).toBe('untrusted');
  });
});

describe('the owner may ask for less, or for more', () => {
  test('`trust: any` takes any signer, but name and dates are judged', async () => {
    await using one = await web(stranger.issue({ names: `DNS:${name}` }));
    expect((await asked(one, { trust: 'any' })).trouble).toBeNull();
    await using other = await web(stranger.issue({ names: 'DNS:other.test' }));
    expect((await asked(other, { trust: 'any' })).trouble?.reason).toBe('wrong-name');
  });

  test('the right pin replaces name and signer', async () => {
    const own = stranger.issue({ names: 'DNS:other.test' });
    await using one = await web(own);
    expect((await asked(one, { pin: opensslPin(own.cert) })).trouble).toBeNull();
    expect(one.requests[0]?.headers['x-key']).toBe(secret);
  });

  test('a pinned certificate that has expired is expired', async () => {
    const own = stranger.issue({ from: days(-9), to: days(-1) });
    await using one = await web(own);
    expect((await asked(one, { pin: opensslPin(own.cert) })).trouble?.reason).toBe('expired');
  });

  test('a wrong pin is refused, even under a good certificate', async () => {
    await using one = await web(good);
    const pin = opensslPin(stranger.root.cert);
    expect((await asked(one, { ...trusted, pin })).trouble).toMatchObject({
      reason: 'pin-differs',
      detail: `its key is ${pinOf(new X509Certificate(good.cert))}, not ${pin}`,
    });
    expect(one.requests).toEqual([]);
  });

  test('an end that is near is told, and stays answered', async () => {
    await using one = await web(
      authority.issue({ names: `DNS:${name}`, from: days(-80), to: days(10) }),
    );
    expect(await asked(one)).toMatchObject({
      outcome: 'answered',
      facts: { certificateWarn: true, certificateDaysLeft: 9 },
    });
    expect((await asked(one, { ...trusted, warn: '9d' })).facts).not.toHaveProperty(
      'certificateWarn',
    );
  });
});

describe('handshakes that fail', () => {
  test.each(['TLSv1.2', 'TLSv1.3'] as const)(
    'a client certificate is wanted over %s',
    async (version) => {
      const { root: ca } = authority;
      const tls = { ...tlsOf(good), ca: ca.cert, requestCert: true, rejectUnauthorized: true };
      await using one = await startWeb({
        tls: { ...tls, minVersion: version, maxVersion: version },
      });
      const seen = await asked(one);
      expect(seen.outcome).toBe('failed');
      // Over TLS 1.3 the refusal follows the handshake (RFC 8446 §4.4.2.4), and a reset may overtake it.
      expect(['handshake-failed', ...(version === 'TLSv1.3' ? ['reset'] : [])]).toContain(
        seen.trouble?.reason,
      );
      expect(one.requests).toEqual([]);
    },
  );

  test('a server with old versions alone', async () => {
    const old = {
      minVersion: 'TLSv1',
      maxVersion: 'TLSv1.1',
      ciphers: 'DEFAULT@SECLEVEL=0',
    } as const;
    await using one = await startWeb({ tls: { ...tlsOf(good), ...old } });
    expect((await asked(one)).trouble).toMatchObject({ layer: 'tls', reason: 'handshake-failed' });
  });

  test('a server that does not know the name', async () => {
    const refuses: TlsOptions = {
      ...tlsOf(good),
      SNICallback: (_name, then) => then(new Error('no')),
    };
    await using one = await startWeb({ tls: refuses });
    expect((await asked(one)).trouble).toMatchObject({ layer: 'tls', reason: 'handshake-failed' });
  });

  test('plain HTTP on the port of https', async () => {
    await using one = await startWeb();
    expect((await asked(one)).trouble).toMatchObject({
      reason: 'handshake-failed',
      detail: `127.0.0.1:${one.port} does not speak TLS`,
    });
  });

  test('https on the port of plain HTTP', async () => {
    await using one = await web(good);
    const seen = await asked(one, {}, { url: `http://127.0.0.1:${one.port}/` });
    expect(seen.outcome).toBe('failed');
    expect(['closed-early', 'other-protocol', 'reset']).toContain(seen.trouble?.reason);
  });

  test('silence', async () => {
    await using one = await peer(() => {});
    const settings = http.schema.parse({ kind: 'http', url: `https://127.0.0.1:${one.port}/` });
    expect((await ask(settings, context({ timeoutMs: 300 }))).trouble).toMatchObject({
      layer: 'protocol',
      reason: 'no-reply',
      detail: expect.stringContaining('did not answer the TLS handshake within 0.3 s'),
    });
  });

  test('an end, and a reset, in the middle', async () => {
    await using ends = await peer((socket) => socket.once('data', () => socket.end()));
    expect((await asked(ends)).trouble?.reason).toBe('handshake-failed');
    await using resets = await peer((socket) =>
      socket.once('data', () => socket.resetAndDestroy()),
    );
    expect((await asked(resets)).trouble?.reason).toBe('reset');
  });
});

describe('redirects', () => {
  test('each origin proves itself, and the pin is that of the first', async () => {
    const lookup = async () => ['127.0.0.1'];
    await using other = await web(authority.issue({ names: 'DNS:other.test' }));
    const location = `https://other.test:${other.port}/`;
    await using one = await startWeb({
      tls: tlsOf(good),
      answer: (_request, response) => response.writeHead(302, { location }).end(),
    });
    const follow = (certificate: object) =>
      ask(
        http.schema.parse({
          kind: 'http',
          url: `https://${name}:${one.port}/`,
          headers: { 'X-Key': secret },
          certificate,
        }),
        context({ lookup }),
      );
    expect(await follow({ ...trusted, pin: opensslPin(good.cert) })).toMatchObject({
      outcome: 'answered',
      facts: { finalUrl: location },
    });
    expect(other.requests[0]?.headers).not.toHaveProperty('x-key');
    // Pinned, so that the first is accepted; the second has nobody to vouch for it.
    expect((await follow({ pin: opensslPin(good.cert) })).trouble?.reason).toBe('untrusted');
    expect(other.requests).toHaveLength(1);
  });

  test('out of TLS are refused', async () => {
    await using plain = await startWeb();
    const location = `http://127.0.0.1:${plain.port}/`;
    await using one = await startWeb({
      tls: tlsOf(good),
      answer: (_request, response) => response.writeHead(301, { location }).end(),
    });
    expect((await asked(one)).trouble).toMatchObject({
      reason: 'wrong-status',
      detail: expect.stringContaining('leaves TLS'),
    });
    expect(plain.requests).toEqual([]);
  });
});

test('a server is answered, hangs, stops, and is answered again', async () => {
  await using one = await web(good);
  const reason = async (timeoutMs: number) => {
    const url = `https://${name}:${one.port}/`;
    const settings = http.schema.parse({ kind: 'http', url, certificate: trusted });
    const seen = await ask(settings, context({ timeoutMs, lookup: async () => ['127.0.0.1'] }));
    return seen.trouble?.reason ?? null;
  };
  expect(await reason(5_000)).toBeNull();
  one.hang();
  expect(await reason(500)).toBe('no-reply');
  await one.stop();
  expect(await reason(5_000)).toBe('refused');
  await one.start();
  one.wake();
  expect(await reason(5_000)).toBeNull();
});
