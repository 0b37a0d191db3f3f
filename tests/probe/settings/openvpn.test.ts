/** What the settings of the `openvpn` probe let through, and what they say to the rest. */
import { randomBytes } from 'node:crypto';
import { expect, test } from 'vitest';
import { readClientKey, readStaticKey } from '../../../src/probe/openvpn-keys.ts';
import { openvpn } from '../../../src/probe/settings/openvpn.ts';
import { clientKeyFile, staticKeyFile } from '../../support/openvpn-server.ts';

const key = randomBytes(256);
const sealed = randomBytes(297);
const staticKey = staticKeyFile(key);
const clientKey = clientKeyFile(key, sealed);

const mistakes = (more: object) => {
  const read = openvpn.schema.safeParse({ kind: 'openvpn', host: 'vpn.test', ...more });
  return read.success
    ? []
    : read.error.issues.map(({ path, message }) => `${path.join('.')}: ${message}`);
};

test('port, way and key are the usual ones unless given', () => {
  const read = openvpn.schema.parse({ kind: 'openvpn', host: 'vpn.test' });
  expect(read).toEqual({ kind: 'openvpn', host: 'vpn.test', port: 1_194, proto: 'udp' });
  expect(openvpn.where(read)).toBe('vpn.test:1194');
  const keyed = openvpn.schema.parse({ ...read, tlsAuth: { key: staticKey } });
  expect(keyed.tlsAuth).toMatchObject({ direction: 1, auth: 'SHA1' });
});

test('the shorthand is a server without a key, over UDP', () => {
  expect(openvpn.fromUrl(new URL('openvpn://vpn.test'))).toMatchObject({ port: 1_194 });
  expect(openvpn.fromUrl(new URL('openvpn://vpn.test:443'))).toMatchObject({ port: 443 });
  for (const more of ['/tcp', '?proto=tcp']) {
    expect(() => openvpn.fromUrl(new URL(`openvpn://vpn.test${more}`))).toThrow('kind: openvpn');
  }
});

test('key files are read as the program writes them', () => {
  expect(readStaticKey(staticKey)).toEqual(key);
  // As on the other system's disks, and as the configuration trims it.
  expect(readStaticKey(staticKey.replaceAll('\n', '\r\n').trim())).toEqual(key);
  expect(readClientKey(clientKey)?.key).toEqual(key);
  expect(readClientKey(clientKey)?.wrapped.subarray(0, -2)).toEqual(sealed);
});

test('keys are for their places', () => {
  expect(mistakes({ tlsAuth: { key: staticKey, direction: 'none', auth: 'SHA512' } })).toEqual([]);
  expect(mistakes({ tlsCrypt: { key: staticKey } })).toEqual([]);
  expect(mistakes({ tlsCryptV2: { key: clientKey } })).toEqual([]);
  const said = /^tlsCrypt(V2)?\.key: expected a (static|client) key, as `openvpn --genkey/;
  expect(mistakes({ tlsCrypt: { key: clientKey } })).toEqual([expect.stringMatching(said)]);
  expect(mistakes({ tlsCryptV2: { key: staticKey } })).toEqual([expect.stringMatching(said)]);
});

test.each([
  ['the name of the file', 'static.key'],
  ['one digit less', staticKey.replace(/[\da-f](?=\n-)/, '')],
  ['a letter that is no digit', staticKey.replace(/[\da-f](?=\n-)/, 'x')],
  ['no end', staticKey.replace(/-----END.*/, '')],
  ['the end first', `-----END OpenVPN Static key V1-----\n${staticKey.replace(/-----END.*/, '')}`],
])('a static key with %s is none, and is not repeated', (_name, text) => {
  expect(readStaticKey(text)).toBeNull();
  const said = mistakes({ tlsAuth: { key: text } });
  expect(said).toHaveLength(1);
  expect(said.join()).not.toContain(key.toString('hex').slice(0, 32));
});

test.each([
  ['too short a wrapped key', clientKeyFile(key, randomBytes(287))],
  ['too long a wrapped key', clientKeyFile(key, randomBytes(1_023))],
  ['a length that lies', clientKey.replace(/.{8}(?=\n-----END)/, 'AAAAAAAA')],
  ['no base64', clientKey.replace(/\n.{4}/, '\n{}{}')],
])('a client key with %s is none', (_name, text) => {
  expect(readClientKey(text)).toBeNull();
});

test('two keys are one too many', () => {
  const two = { tlsAuth: { key: staticKey }, tlsCryptV2: { key: clientKey } };
  expect(mistakes(two)).toEqual([
    'tlsCryptV2: expected one key: a server covers its control channel in one way',
  ]);
});

test('what cannot be is said in words', () => {
  expect(mistakes({ proto: 'sctp' })).toEqual(['proto: expected udp or tcp']);
  expect(mistakes({ tlsAuth: { key: staticKey, direction: 2 } })).toEqual([
    'tlsAuth.direction: expected 0, 1 or none',
  ]);
  expect(mistakes({ tlsAuth: { key: staticKey, auth: 'MD5' } })).toEqual([
    'tlsAuth.auth: expected SHA1, SHA256 or SHA512',
  ]);
});

test('openings are ten seconds apart', () => {
  expect(openvpn.manners.minGapMs).toBe(10_000);
});
