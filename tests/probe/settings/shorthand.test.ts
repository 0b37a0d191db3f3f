/** Shorthands that can hold a host and a port swallow nothing else. */
import { expect, test } from 'vitest';
import { ikev2 } from '../../../src/probe/settings/ikev2.ts';
import { openvpn } from '../../../src/probe/settings/openvpn.ts';
import { tcp } from '../../../src/probe/settings/tcp.ts';
import { tds } from '../../../src/probe/settings/tds.ts';

const more = [
  (at: string) => `${at}/path`,
  (at: string) => `${at}?x=1`,
  (at: string) => `${at}#x`,
  (at: string) => at.replace('//', '//user@'),
  (at: string) => at.replace('//', '//:kiln@'),
];

test.each([ikev2, openvpn, tcp, tds])(
  'of $kind a shorthand is a host and a port',
  (declaration) => {
    const { kind, fromUrl } = declaration;
    const bare = `${kind}://nas.test:1234`;
    for (const text of [bare, `${bare}/`]) {
      expect(fromUrl(new URL(text))).toEqual({ kind, host: 'nas.test', port: 1_234 });
    }
    for (const text of more.map((added) => added(bare))) {
      expect(() => fromUrl(new URL(text)), text).toThrow(
        new Error(`expected ${kind}://host:port: write other settings out, with \`kind: ${kind}\``),
      );
    }
  },
);
