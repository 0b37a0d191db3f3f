/** Ids and what points at them. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { circlesOf, type Edge } from '../../src/config/circles.ts';
import { complaints } from '../support/config-text.ts';

test('an id that is taken is told with both places', () => {
  const text = `
    services:
      - name: Order book
        probe: tcp://nas:1
      - name: Orders
        id: order-book
        probe: tcp://nas:2
      - name: order BOOK
        probe: tcp://nas:3
  `;
  const advice = 'give one of the two another `id:`';
  expect(complaints(text)).toEqual([
    `5:9 \`id\` of Orders: the id \`order-book\` is taken already (Order book, line 2, column 11): ${advice}`,
    `7:11 \`name\` of order BOOK: the id \`order-book\` is taken already (Order book, line 2, column 11): ${advice}`,
  ]);
});

test('an id that was put in from outside points at what it should, and is never shown', () => {
  const text = `
    services:
      - { name: Shop, id: "\${A}", probe: "tcp://nas:1", needs: [book] }
      - { name: Book, probe: "tcp://nas:2", needs: ["\${A}", "\${B}"] }
      - { name: "\${A}", probe: "tcp://nas:3", needs: [othr-id] }
  `;
  expect(complaints(text, { env: { A: 'other-id', B: 'third-id' } })).toEqual([
    '2:61 `needs` of Shop: these go round in a circle: … -> book -> …',
    '3:57 `needs` of Book: there is no service of the name put in here; known: book',
    '4:13 `name` of service 3: the id put in from outside is taken already (Shop, line 2, column 23): give one of the two another `id:`',
    '4:51 `needs` of service 3: there is no service `othr-id`; known: book',
  ]);
});

test('a channel name that is taken is told with the place of the first', () => {
  const text = `
    services: [{ name: Shop, probe: "tcp://nas:1" }]
    tell:
      - { name: phone, webhook: "https://hooks.example/1" }
      - { name: phone, webhook: "https://hooks.example/2" }
  `;
  expect(complaints(text)).toEqual([
    '4:13 `name` of phone: another channel has this name already (line 3, column 13)',
  ]);
});

test('a fallback is another channel that is there, and none stands in for itself in the end', () => {
  const channels = (...fallbacks: readonly string[]) =>
    fallbacks
      .map(
        (name, nth) =>
          `  - { name: c${nth}, webhook: "https://hooks.example/1", fallback: ${name} }`,
      )
      .join('\n');
  const text = (...fallbacks: readonly string[]) =>
    `services: [{ name: Shop, probe: "tcp://nas:1" }]\ntell:\n${channels(...fallbacks)}\n  - { name: mail, webhook: "https://hooks.example/2" }`;
  expect(complaints(text('c1', 'c2', 'mail', 'mail'))).toEqual([]);
  expect(complaints(text('mial'))).toEqual([
    '3:63 `fallback` of c0: there is no channel `mial`; did you mean `mail`?',
  ]);
  expect(complaints(text('c0'))).toEqual([
    '3:63 `fallback` of c0: a channel cannot stand in for itself',
  ]);
  expect(complaints(text('c1', 'c2', 'c0'))).toEqual([
    '3:63 `fallback` of c0: these go round in a circle: c0 -> c1 -> c2 -> c0',
  ]);
});

test('what is needed, seen through or told of must be there', () => {
  const text = `
    services:
      - { name: NAS, group: House, probe: "tcp://nas:1" }
      - name: Shop
        group: Studio
        probe: tcp://shop:80
        needs: [nass, NAS, ""]
        through: [vpn]
    tell:
      - name: phone
        webhook: https://hooks.example/
        only: { services: [shopp], groups: [Studios, Garden], changes: [dwon] }
  `;
  expect(complaints(text)).toEqual([
    '6:13 `needs` of Shop: there is no service `nass`; did you mean `nas`?',
    '6:19 `needs` of Shop: there is no service `NAS`; did you mean `nas`?',
    '6:24 `needs` of Shop: there is no service ``; known: nas, shop',
    '7:15 `through` of Shop: there is no service `vpn`; known: nas, shop',
    '11:24 `only.services` of phone: there is no service `shopp`; did you mean `shop`?',
    '11:41 `only.groups` of phone: there is no group `Studios`; did you mean `Studio`?',
    '11:50 `only.groups` of phone: there is no group `Garden`; known: House, Studio',
    '11:69 `only.changes` of phone: found "dwon", expected up, degraded, down, unobserved, certificate, budget, planned or facts (did you mean down?)',
  ]);
});

test('a circle is printed as one walks it, over needs and through alike', () => {
  const text = `
    services:
      - { name: Shop, probe: "tcp://nas:1", needs: [book] }
      - { name: Book, probe: "tcp://nas:2", through: [vpn] }
      - { name: VPN, probe: "tcp://nas:3", needs: [shop, vpn] }
      - { name: Kiln, probe: "tcp://nas:4", needs: [shop] }
  `;
  expect(complaints(text)).toEqual([
    '2:49 `needs` of Shop: these go round in a circle: shop -> book -> vpn -> shop',
    '4:54 `needs` of VPN: a service cannot name itself here',
  ]);
});

test('of a circle through very many only the ends are printed', () => {
  const lines = Array.from(
    { length: 2_000 },
    (_, i) => `  - { name: S${i}, probe: "tcp://nas:1", needs: [s${(i + 1) % 2_000}] }`,
  );
  expect(complaints(`services:\n${lines.join('\n')}`)).toEqual([
    '2:47 `needs` of S0: these go round in a circle: s0 -> s1 -> s2 -> s3 -> s4 -> s5 -> s6 -> s7 -> … -> s1997 -> s1998 -> s1999 -> s0',
  ]);
});

test('a circle that one can reach on several ways is told once', () => {
  const edge = (from: string, to: string): Edge => ({ from, to, path: [from, to] });
  const all = [
    edge('a', 'b'),
    edge('a', 'c'),
    edge('b', 'd'),
    edge('c', 'd'),
    edge('d', 'e'),
    edge('e', 'd'),
  ];
  expect(circlesOf(all)).toEqual([[edge('d', 'e'), edge('e', 'd')]]);
});

const edges = fc
  .array(fc.tuple(fc.nat(7), fc.nat(7)), { maxLength: 20 })
  .map((pairs) =>
    pairs.map(([from, to], i): Edge => ({ from: `${from}`, to: `${to}`, path: [i] })),
  );

test('a circle is found exactly where one can come back to where one set out', () => {
  fc.assert(
    fc.property(edges, (all) => {
      expect(circlesOf(all).length > 0).toBe(all.some(({ from, to }) => leads(all, to, from)));
    }),
  );
});

test('each circle is one: every edge goes on where the last one ended, and no place comes twice', () => {
  fc.assert(
    fc.property(edges, (all) => {
      for (const circle of circlesOf(all)) {
        for (const [index, edge] of circle.entries()) {
          expect(edge.to).toBe(circle[(index + 1) % circle.length]?.from);
        }
        expect(new Set(circle.map(({ from }) => from)).size).toBe(circle.length);
      }
    }),
  );
});

function leads(all: readonly Edge[], from: string, to: string): boolean {
  const reached = new Set([from]);
  for (const place of reached) {
    for (const edge of all) if (edge.from === place) reached.add(edge.to);
  }
  return reached.has(to);
}
