/** What a shown certificate is worth. Certificates are made by openssl on the spot, with the dates that are wanted. */
import { X509Certificate } from 'node:crypto';
import { afterAll, describe, expect, test } from 'vitest';
import { judgeCertificate, pinOf } from '../../src/probe/certificate.ts';
import { type CertificateSettings, certificate } from '../../src/probe/settings/certificate.ts';
import { type Issued, makeAuthority, opensslPin } from '../support/authority.ts';

const authority = makeAuthority('Fernhill authority');
afterAll(() => authority[Symbol.dispose]());

const from = new Date('2026-10-01T12:00:00Z');
const to = new Date('2026-12-30T12:00:00Z');
const midway = Date.parse('2026-11-01T00:00:00Z');
const dayMs = 86_400_000;

const settings = (given: object = {}): CertificateSettings => certificate.parse(given);
const read = (one: Issued) => new X509Certificate(one.cert);

const leaf = read(authority.issue({ names: 'DNS:shop.fernhill.home.arpa', from, to }));

interface Given {
  chain?: readonly X509Certificate[];
  verifyError?: string | null;
  name?: string;
  settings?: CertificateSettings;
  nowMs?: number;
}

const judge = (given: Given = {}) =>
  judgeCertificate(
    { chain: given.chain ?? [leaf], verifyError: given.verifyError ?? null },
    {
      name: given.name ?? 'shop.fernhill.home.arpa',
      settings: given.settings ?? settings(),
      nowMs: given.nowMs ?? midway,
    },
  );
const reasonOf = (given: Given) => judge(given).trouble?.reason ?? null;

test('a trusted certificate for the name, within its dates, is without trouble', () => {
  expect(judge()).toEqual({
    trouble: null,
    facts: {
      certificateIssuer: 'CN=Fernhill authority',
      certificateEndsAt: '2026-12-30T12:00:00.000Z',
      certificateDaysLeft: 59,
    },
  });
});

describe('dates, both ends inclusive (RFC 5280 §4.1.2.5)', () => {
  test.each([
    [from.getTime() - 1, 'not-yet-valid'],
    [from.getTime(), null],
    [to.getTime(), null],
    // The last second belongs to it: the form has no fractions.
    [to.getTime() + 999, null],
    [to.getTime() + 1_000, 'expired'],
  ])('at %d it is %s', (nowMs, reason) => {
    expect(reasonOf({ nowMs })).toBe(reason);
  });

  test('the moments stand in the detail', () => {
    expect(judge({ nowMs: to.getTime() + dayMs }).trouble?.detail).toBe(
      'its certificate ended at 2026-12-30 12:00 UTC',
    );
    expect(judge({ nowMs: from.getTime() - dayMs }).trouble?.detail).toBe(
      'its certificate begins only at 2026-10-01 12:00 UTC',
    );
  });

  test('a certificate without an end (RFC 5280 §4.1.2.5: 99991231235959Z) never ends', () => {
    const endless = read(authority.issue({ from, to: new Date('9999-12-31T23:59:59Z') }));
    expect(judge({ chain: [endless], name: 'test' })).toMatchObject({
      trouble: null,
      facts: { certificateEndsAt: '9999-12-31T23:59:59.000Z' },
    });
  });
});

describe('names (RFC 9525 §6: subjectAltName only, a wildcard is one whole left-most label)', () => {
  const wild = read(
    authority.issue({
      names:
        'DNS:*.w.fernhill.home.arpa,DNS:f*.p.fernhill.home.arpa,DNS:xn--bcher-kva.test,IP:127.0.0.1,IP:2001:db8::7,DNS:192.0.2.7',
      from,
      to,
    }),
  );
  test.each([
    ['a.w.fernhill.home.arpa', true],
    ['A.W.Fernhill.HOME.arpa', true],
    ['a.w.fernhill.home.arpa.', true],
    ['a.b.w.fernhill.home.arpa', false],
    ['w.fernhill.home.arpa', false],
    ['foo.p.fernhill.home.arpa', false],
    ['bücher.test', true],
    ['127.0.0.1', true],
    ['127.0.0.2', false],
    ['2001:db8::7', true],
    ['[2001:db8:0::7]', true],
    // An address never matches a dNSName.
    ['192.0.2.7', false],
    ['test', false],
    ['', false],
    ['.', false],
  ])('%s matches: %s', (name, matches) => {
    expect(reasonOf({ chain: [wild], name })).toBe(matches ? null : 'wrong-name');
  });

  test('a common name alone does not count', () => {
    const old = read(authority.issue({ names: null, commonName: 'old.test', from, to }));
    expect(judge({ chain: [old], name: 'old.test' }).trouble).toMatchObject({
      layer: 'tls',
      reason: 'wrong-name',
      detail: 'its certificate carries no subjectAltName (a common name does not count)',
    });
  });

  test('the names that it carries are told, and two thousand of them do not swamp the detail', () => {
    expect(judge({ name: 'other.test' }).trouble?.detail).toBe(
      'its certificate is for DNS:shop.fernhill.home.arpa, not for other.test',
    );
    const names = Array.from({ length: 2_000 }, (_, index) => `DNS:n${index}.test`).join(',');
    const many = read(authority.issue({ names, from, to }));
    expect(reasonOf({ chain: [many], name: 'n1999.test' })).toBeNull();
    expect(judge({ chain: [many], name: 'other.test' }).trouble?.detail.length).toBeLessThan(300);
  });
});

describe('trust', () => {
  test.each([
    'DEPTH_ZERO_SELF_SIGNED_CERT',
    'SELF_SIGNED_CERT_IN_CHAIN',
    'UNABLE_TO_VERIFY_LEAF_SIGNATURE',
    'UNABLE_TO_GET_ISSUER_CERT_LOCALLY',
    'INVALID_PURPOSE',
    'SOMETHING_NEW',
  ])('%s is untrusted, and told', (verifyError) => {
    expect(judge({ verifyError }).trouble).toMatchObject({
      reason: 'untrusted',
      detail: expect.stringContaining(verifyError),
    });
  });

  test('with `trust: any` nobody is asked, but name and dates are judged', () => {
    const any = {
      settings: settings({ trust: 'any' }),
      verifyError: 'DEPTH_ZERO_SELF_SIGNED_CERT',
    };
    expect(reasonOf(any)).toBeNull();
    expect(reasonOf({ ...any, name: 'other.test' })).toBe('wrong-name');
    expect(reasonOf({ ...any, nowMs: to.getTime() + dayMs })).toBe('expired');
  });

  test("OpenSSL's refusal of a date stands where our clock sees nothing", () => {
    expect(reasonOf({ verifyError: 'CERT_HAS_EXPIRED' })).toBe('expired');
    expect(reasonOf({ verifyError: 'CERT_NOT_YET_VALID' })).toBe('not-yet-valid');
  });

  test('a peer that shows nothing has failed the handshake', () => {
    expect(judge({ chain: [] })).toMatchObject({
      trouble: { reason: 'handshake-failed' },
      facts: {},
    });
  });
});

test('all problems are told, the first gives the reason', () => {
  const both = { nowMs: to.getTime() + dayMs, name: 'other.test', verifyError: 'CERT_HAS_EXPIRED' };
  expect(judge(both).trouble).toMatchObject({
    reason: 'expired',
    detail: expect.stringMatching(/ended at .*; its certificate is for .*, not for other\.test/),
  });
  expect(
    judge({ name: 'other.test', verifyError: 'DEPTH_ZERO_SELF_SIGNED_CERT' }).trouble,
  ).toMatchObject({
    reason: 'wrong-name',
    detail: expect.stringContaining('signed by itself'),
  });
});

describe('pins (RFC 7469 §2.4)', () => {
  test.each([
    // The example pins of RFC 7469 §2.1.5 and §2.4: the form only, their keys are not published.
    ['sha256/d6qzRu9zOECb90Uez27xWltNsj0e1Md7GkYYkVoZWmM=', true],
    ['sha256/E9CZ9INDbd+2eRQozYqqbQ2yXLVKB9+xcprMF+44U1g=', true],
    ['d6qzRu9zOECb90Uez27xWltNsj0e1Md7GkYYkVoZWmM=', false],
    ['sha256/d6qzRu9zOECb90Uez27xWltNsj0e1Md7GkYYkVoZWmM', false],
    ['sha256/E9CZ9INDbd-2eRQozYqqbQ2yXLVKB9-xcprMF-44U1g=', false],
    ['sha1/2jmj7l5rSw0yVb/vlWAYkK/YBwk=', false],
  ])('%s is a pin: %s', (pin, accepted) => {
    expect(certificate.safeParse({ pin }).success).toBe(accepted);
  });

  test('ours is the one that openssl computes', () => {
    const one = authority.issue();
    expect(pinOf(read(one))).toBe(opensslPin(one.cert));
    expect(pinOf(leaf)).not.toBe(opensslPin(one.cert));
  });

  const pinned = settings({ pin: pinOf(leaf) });

  test('a pin replaces name and trust, and the dates are still judged', () => {
    const own = {
      settings: pinned,
      name: 'other.test',
      verifyError: 'DEPTH_ZERO_SELF_SIGNED_CERT',
    };
    expect(reasonOf(own)).toBeNull();
    expect(reasonOf({ ...own, nowMs: to.getTime() + dayMs })).toBe('expired');
  });

  test('another key is told with both pins, even under a trusted certificate for the right name', () => {
    const other = read(authority.issue({ names: 'DNS:shop.fernhill.home.arpa', from, to }));
    expect(judge({ chain: [other], settings: pinned }).trouble).toMatchObject({
      reason: 'pin-differs',
      detail: `its key is ${pinOf(other)}, not ${pinOf(leaf)}`,
    });
  });

  test('the key of an issuer is not enough: anybody may send its certificate along', () => {
    const other = read(authority.issue({ from, to }));
    expect(reasonOf({ chain: [other, leaf], settings: pinned })).toBe('pin-differs');
  });
});

describe('an end that is near is a flag, not an outcome', () => {
  const warned = (nowMs: number, given: Given = {}) =>
    judge({ ...given, nowMs }).facts.certificateWarn;

  test('21 days before the end of a long life', () => {
    expect(warned(to.getTime() - 21 * dayMs)).toBeUndefined();
    expect(warned(to.getTime() - 21 * dayMs + 1)).toBe(true);
    expect(judge({ nowMs: to.getTime() - dayMs })).toMatchObject({
      trouble: null,
      facts: { certificateDaysLeft: 1, certificateWarn: true },
    });
  });

  test('a third of a short one', () => {
    const short = read(authority.issue({ from, to: new Date(from.getTime() + 6 * dayMs) }));
    const given = { chain: [short], name: 'test' };
    expect(warned(from.getTime() + 4 * dayMs, given)).toBeUndefined();
    expect(warned(from.getTime() + 4 * dayMs + 1, given)).toBe(true);
  });

  test('`warn` decides where it is given', () => {
    const given = { settings: settings({ warn: '40d' }) };
    expect(warned(to.getTime() - 40 * dayMs, given)).toBeUndefined();
    expect(warned(to.getTime() - 40 * dayMs + 1, given)).toBe(true);
  });
});

describe('the certificates above', () => {
  const soonTo = new Date('2026-11-10T00:00:00Z');
  const soon = read(authority.issue({ authority: true, commonName: 'Soon', from, to: soonTo }));

  test('the one that ends first tells when the service ends', () => {
    expect(judge({ chain: [leaf, soon] })).toMatchObject({
      trouble: null,
      facts: { certificateEndsAt: soonTo.toISOString(), certificateWarn: true },
    });
  });

  test('one out of date is named when OpenSSL refused the chain for it', () => {
    const nowMs = soonTo.getTime() + dayMs;
    expect(
      judge({ chain: [leaf, soon], nowMs, verifyError: 'CERT_HAS_EXPIRED' }).trouble,
    ).toMatchObject({
      reason: 'expired',
      detail: 'the certificate above it (CN=Soon) ended at 2026-11-10 00:00 UTC',
    });
  });

  test('one out of date is left out when OpenSSL found a way round it', () => {
    expect(judge({ chain: [leaf, soon], nowMs: soonTo.getTime() + dayMs })).toMatchObject({
      trouble: null,
      facts: { certificateEndsAt: to.toISOString() },
    });
  });
});
