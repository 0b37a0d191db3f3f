/** Error codes to troubles. Codes as seen on Linux with Node 20 (protocol notes); the rest from connect(2), getaddrinfo(3). */
import { expect, test } from 'vitest';
import { errorCode, handshakeTrouble, networkTrouble } from '../../src/probe/network-errors.ts';

const where = 'db.fernhill.home.arpa:5432';
const withCode = (code: string) => Object.assign(new Error('planted'), { code });

test.each([
  ['ENOTFOUND', 'name', 'not-found'],
  ['EAI_AGAIN', 'name', 'no-answer'],
  ['EAI_FAIL', 'name', 'server-failure'],
  ['EAI_ADDRFAMILY', 'name', 'not-found'],
  ['ECONNREFUSED', 'port', 'refused'],
  ['EHOSTUNREACH', 'network', 'unreachable'],
  ['EHOSTDOWN', 'network', 'unreachable'],
  ['ENETUNREACH', 'network', 'no-route'],
  ['ENETDOWN', 'network', 'no-route'],
  ['EADDRNOTAVAIL', 'network', 'no-route'],
  ['EINVAL', 'network', 'no-route'],
  ['EACCES', 'network', 'rejected'],
  ['EPERM', 'network', 'rejected'],
  ['ENOPROTOOPT', 'network', 'rejected'],
  ['ETIMEDOUT', 'port', 'timed-out'],
  ['ECONNRESET', 'port', 'reset'],
  ['ECONNABORTED', 'port', 'reset'],
  ['EPIPE', 'port', 'reset'],
])('%s is %s/%s and says where', (code, layer, reason) => {
  const found = networkTrouble(withCode(code), where);
  expect(found).toMatchObject({ layer, reason });
  expect(found?.detail).toContain(where);
  expect(found?.hint).toMatch(/[.?!]$/);
});

test('an error that says nothing about the peer is no trouble of the peer', () => {
  expect(networkTrouble(withCode('EMFILE'), where)).toBeNull();
  expect(networkTrouble(withCode('toString'), where)).toBeNull();
  expect(networkTrouble(new TypeError('a defect'), where)).toBeNull();
  expect(networkTrouble('thrown text', where)).toBeNull();
});

test('the code is found in the first of several errors and in a cause', () => {
  expect(
    errorCode(
      new AggregateError([withCode('ECONNREFUSED'), withCode('ENETUNREACH')], 'all failed'),
    ),
  ).toBe('ECONNREFUSED');
  expect(errorCode(new Error('outer', { cause: withCode('ECONNRESET') }))).toBe('ECONNRESET');
  expect(errorCode(null)).toBeNull();
});

test.each([
  ['ERR_SSL_WRONG_VERSION_NUMBER', 'does not speak TLS'],
  ['ERR_SSL_TLSV1_ALERT_PROTOCOL_VERSION', 'accepts no TLS version that is safe'],
  ['ERR_SSL_TLSV13_ALERT_CERTIFICATE_REQUIRED', 'asks for a client certificate'],
  ['ERR_SSL_SSLV3_ALERT_HANDSHAKE_FAILURE', 'ERR_SSL_SSLV3_ALERT_HANDSHAKE_FAILURE'],
  ['ECONNRESET', 'cut the connection during the TLS handshake'],
])('%s in a handshake says so', (code, words) => {
  expect(handshakeTrouble(withCode(code), where)).toMatchObject({
    layer: 'tls',
    reason: 'handshake-failed',
    detail: expect.stringContaining(words),
  });
});

test('a close in the middle of a handshake is told without a code', () => {
  expect(handshakeTrouble(null, where).detail).toContain('cut the connection');
});
