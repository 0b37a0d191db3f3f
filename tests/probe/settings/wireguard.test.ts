/** What the settings of the `wireguard` probe let through, and what they say to the rest. */
import { expect, test } from 'vitest';
import { bytesOf, wireguard } from '../../../src/probe/settings/wireguard.ts';
import { makePrivateKey, publicOf } from '../../../src/probe/x25519.ts';

const privateKey = makePrivateKey().toString('base64');
const publicKey = publicOf(makePrivateKey()).toString('base64');
const good = { kind: 'wireguard', host: 'vpn.fernhill.home.arpa', publicKey, privateKey } as const;

const mistakes = (more: object) => {
  const read = wireguard.schema.safeParse({ ...good, ...more });
  return read.success
    ? []
    : read.error.issues.map(({ path, message }) => `${path.join('.')}: ${message}`);
};

test('the port is 51820 unless given, and a preshared key is optional', () => {
  const read = wireguard.schema.parse(good);
  expect(read.port).toBe(51_820);
  expect(wireguard.where(read)).toBe('vpn.fernhill.home.arpa:51820');
  const presharedKey = Buffer.alloc(32, 7).toString('base64');
  expect(mistakes({ port: 51_000, presharedKey })).toEqual([]);
  expect(bytesOf(presharedKey)).toEqual(Buffer.alloc(32, 7));
});

test.each([
  ['nothing', ''],
  ['a word', 'secret'],
  ['31 bytes', Buffer.alloc(31, 9).toString('base64')],
  ['33 bytes', Buffer.alloc(33, 9).toString('base64')],
  ['the base64 of web addresses', Buffer.alloc(32, 0xfb).toString('base64url')],
  ['two bits too many', `${privateKey.slice(0, 42)}B=`],
  ['a space behind it', `${privateKey} `],
])('%s is no key', (_name, text) => {
  for (const name of ['publicKey', 'privateKey', 'presharedKey']) {
    const found = mistakes({ [name]: text });
    expect(found).not.toEqual([]);
    for (const said of found) {
      expect(said).toMatch(new RegExp(`^${name}: expected a (key|text)`));
      // It may be a secret with one character wrong.
      if (text.length > 6) expect(said).not.toContain(text);
    }
  }
});

test('a public key that belongs to nobody is none', () => {
  const nobodys = Buffer.alloc(32).toString('base64');
  expect(mistakes({ publicKey: nobodys })).toEqual([
    'publicKey: expected a public key; this one belongs to nobody',
  ]);
});

test("the probe's own public key is not that of the endpoint", () => {
  expect(mistakes({ publicKey: publicOf(bytesOf(privateKey)).toString('base64') })).toEqual([
    "publicKey: expected the endpoint's public key; this one is that of the probe itself",
  ]);
});

test('the shorthand says that it lacks the keys', () => {
  expect(() => wireguard.fromUrl(new URL('wireguard://vpn.fernhill.home.arpa'))).toThrow(
    /^a handshake needs keys: expected a block with `kind: wireguard`/,
  );
});

test('initiations are five seconds apart', () => {
  // WireGuard paper, §6.1: Rekey-Timeout
  expect(wireguard.manners.minGapMs).toBe(5_000);
});
