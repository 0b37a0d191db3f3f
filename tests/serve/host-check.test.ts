/** Which `Host` headers the board answers to (RFC 9110 §7.2; the guard against DNS rebinding). */
import { expect, test } from 'vitest';
import { hostAllowed } from '../../src/serve/host-check.ts';

const names = ['Fernhill'];

test.each([
  'localhost',
  'localhost:7655',
  'LOCALHOST:80',
  'localhost.',
  '127.0.0.1:7655',
  '127.8.9.1',
  '[::1]:7655',
  'fernhill',
  'fernhill:7655',
  'fernhill.local',
  'fernhill.home.arpa:7655',
  'fernhill.internal',
])('listening on loopback, %s is this board', (host) => {
  expect(hostAllowed({ listenHost: '127.0.0.1', names })(host)).toBe(true);
});

test.each([
  undefined,
  '',
  'attacker.example',
  'attacker.example:7655',
  'localhost.attacker.example',
  'fernhill.attacker.example',
  '127.0.0.1.attacker.example',
  '192.0.2.7',
  '[2001:db8::7]',
  '[::1',
  '::1',
  'fernhill home',
  'fernhill:7655:1',
  'fernhill:porto',
  'a@fernhill',
  'fernhill/x',
  `${'a'.repeat(10_000)}.example`,
])('listening on loopback, %s is not', (host) => {
  expect(hostAllowed({ listenHost: '127.0.0.1', names })(host)).toBe(false);
});

test('names that the configuration adds are this board, in any case and with any port', () => {
  const allowed = hostAllowed({
    listenHost: '127.0.0.1',
    names: [...names, 'board.fernhill.example'],
  });
  expect(allowed('Board.Fernhill.example:8443')).toBe(true);
  expect(allowed('fernhill')).toBe(true);
  expect(allowed('other.fernhill.example')).toBe(false);
});

test.each([
  ['0.0.0.0', '192.0.2.7:7655', true],
  ['::', '[2001:db8::7]:7655', true],
  ['::', '192.0.2.7', true],
  ['0.0.0.0', 'attacker.example', false],
  ['192.0.2.7', '192.0.2.7:7655', true],
  ['192.0.2.7', '192.0.2.8:7655', false],
  ['[2001:db8::7]', '[2001:db8::7]:7655', true],
  ['board.fernhill.example', 'board.fernhill.example:7655', true],
  ['board.fernhill.example', 'other.fernhill.example', false],
])('listening on %s, %s: %s', (listenHost, host, allowed) => {
  expect(hostAllowed({ listenHost, names: [] })(host)).toBe(allowed);
});
