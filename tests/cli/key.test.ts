/** What `rollcall key` prints. */
import { expect, test } from 'vitest';
import { keyText } from '../../src/cli/key.ts';
import { wireguard } from '../../src/probe/settings/wireguard.ts';
import { makePrivateKey, publicOf } from '../../src/probe/x25519.ts';

test('the printed keys fit each other and the configuration', () => {
  const text = keyText(makePrivateKey());
  const [privateKey = '', publicKey = '', inPeer = ''] = text.match(/[A-Za-z0-9+/]{43}=/g) ?? [];
  expect(publicOf(Buffer.from(privateKey, 'base64')).toString('base64')).toBe(publicKey);
  expect(inPeer).toBe(publicKey);
  const endpoint = publicOf(makePrivateKey()).toString('base64');
  const written = { kind: 'wireguard', host: '127.0.0.1', publicKey: endpoint, privateKey };
  expect(wireguard.schema.safeParse(written).success).toBe(true);
});

test('the lines for the endpoint route nothing and keep nothing alive', () => {
  const lines = keyText(makePrivateKey()).split('\n');
  const peer = lines.slice(lines.indexOf('  [Peer]')).filter((line) => line.startsWith('  '));
  expect(peer.map((line) => line.trim().split(' = ')[0])).toEqual([
    '[Peer]',
    '# Rollcall',
    'PublicKey',
  ]);
});
