/** Reading a handshake off a socket: bounded, whatever chain a peer sends. */
import { X509Certificate } from 'node:crypto';
import type { TLSSocket } from 'node:tls';
import { expect, test } from 'vitest';
import { certificate } from '../../src/probe/settings/certificate.ts';
import { secureOptions, shownBy } from '../../src/probe/trust.ts';
import { makeAuthority } from '../support/authority.ts';

using authority = makeAuthority();
const { raw } = new X509Certificate(authority.issue().cert);

interface Link {
  readonly raw: Buffer;
  readonly fingerprint256: string;
  issuerCertificate?: Link;
}

/** Only what `shownBy` looks at. */
function socketShowing(first: Link | object, authorizationError: unknown = undefined): TLSSocket {
  const shown = {
    getPeerCertificate: () => first,
    authorized: authorizationError === undefined,
    authorizationError,
  };
  return shown as unknown as TLSSocket;
}

test('a chain is followed for ten certificates and no further', () => {
  let link: Link = { raw, fingerprint256: '0' };
  for (let index = 1; index < 100; index += 1) {
    link = { raw, fingerprint256: String(index), issuerCertificate: link };
  }
  expect(shownBy(socketShowing(link)).chain).toHaveLength(10);
});

test('a circle of certificates, and one that issued itself, end', () => {
  const one: Link = { raw, fingerprint256: '1' };
  const two: Link = { raw, fingerprint256: '2', issuerCertificate: one };
  one.issuerCertificate = two;
  expect(shownBy(socketShowing(one)).chain).toHaveLength(2);
  const self: Link = { raw, fingerprint256: '3' };
  self.issuerCertificate = self;
  expect(shownBy(socketShowing(self)).chain).toHaveLength(1);
});

test('a peer without a certificate shows an empty chain', () => {
  expect(shownBy(socketShowing({}))).toEqual({ chain: [], verifyError: null });
});

test.each([
  ['CERT_HAS_EXPIRED', 'CERT_HAS_EXPIRED'],
  [Object.assign(new Error('no'), { code: 'X' }), 'X'],
  [null, 'UNKNOWN'],
])('the verdict %s of Node is read as %s', (given, code) => {
  expect(shownBy(socketShowing({ raw, fingerprint256: '1' }, given)).verifyError).toBe(code);
});

test.each([
  ['shop.fernhill.home.arpa', 'shop.fernhill.home.arpa'],
  ['shop.fernhill.home.arpa.', 'shop.fernhill.home.arpa'],
  // RFC 6066 §3: literal addresses are not permitted in the extension, nor is the trailing dot.
  ['192.0.2.7', undefined],
  ['2001:db8::7', undefined],
  ['fe80::7%eth0', undefined],
])('under %s the server name %s is sent', (name, servername) => {
  expect(secureOptions(certificate.parse({}), name).servername).toBe(servername);
});

test('a store is read once for each authority, not at each handshake', () => {
  const settings = certificate.parse({ trust: authority.root.cert });
  const context = () => secureOptions(settings, 'a.test').secureContext;
  expect(context()).toBe(context());
  expect(secureOptions(certificate.parse({}), 'a.test').secureContext).not.toBe(context());
});
