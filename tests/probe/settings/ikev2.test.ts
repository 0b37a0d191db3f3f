/** What the settings of the `ikev2` probe let through. */
import { expect, test } from 'vitest';
import { ikev2 } from '../../../src/probe/settings/ikev2.ts';

test('the port is 500 unless given', () => {
  const read = ikev2.schema.parse(ikev2.fromUrl(new URL('ikev2://vpn.test')));
  expect(read).toEqual({ kind: 'ikev2', host: 'vpn.test', port: 500, marker: 'auto' });
  expect(ikev2.where(read)).toBe('vpn.test:500');
  expect(ikev2.fromUrl(new URL('ikev2://vpn.test:4500'))).toMatchObject({ port: 4_500 });
});

test.each(['ikev2://vpn.test/x', 'ikev2://vpn.test?marker=yes', 'ikev2://u@vpn.test'])(
  '%s is told to write a block',
  (url) => {
    expect(() => ikev2.fromUrl(new URL(url))).toThrow('kind: ikev2');
  },
);

test('the marker is auto, yes or no', () => {
  const read = ikev2.schema.safeParse({ kind: 'ikev2', host: 'vpn.test', marker: 'maybe' });
  expect(read.error?.issues[0]?.message).toBe('expected auto, yes or no');
});

test('requests are ten seconds apart', () => {
  expect(ikev2.manners.minGapMs).toBe(10_000);
});
