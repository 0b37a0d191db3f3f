/** YAML that is none, or that nobody would want: in plain words, at the place where one has to look. */
// biome-ignore-all lint/suspicious/noTemplateCurlyInString: the configuration's own variables are what is tested
import { expect, test } from 'vitest';
import { aliasedValuesCountMax, configBytesMax, configDepthMax } from '../../src/base/limits.ts';
import { complaints, load } from '../support/config-text.ts';

const service = 'services: [{ name: Shop, probe: "tcp://nas:1" }]';

const broken: readonly (readonly [text: string, complaints: readonly string[]])[] = [
  ['', ['1:1 the file is empty: expected `services:` with at least one service']],
  ['# nothing yet\n', ['1:1 the file is empty: expected `services:` with at least one service']],
  ['Shop', ['1:1 the file: found "Shop"; expected keys, such as `services:`']],
  ['[1, 2]', ['1:1 the file: found a list; expected keys, such as `services:`']],
  [
    '- name: Shop\n  probe: tcp://nas:1',
    ['1:1 the file: found a list; put `services:` on a line above it'],
  ],
  ['board:\n  title: "Fernhill\nservices: []\n', ['2:10 a quote is opened here and never closed']],
  [
    `board: { title: 'it's' }\n`,
    ['1:21 this stands behind the end of a value: put all of it in one pair of quotes'],
  ],
  [
    'board:\n  title: Fernhill\n listen: 127.0.0.1:1\n',
    ['3:1 this line is not indented like its neighbours: keys of one block begin in one column'],
  ],
  ['board:\n\ttitle: x\n', ['2:1 a tab: YAML is indented with spaces only']],
  [
    'services:\n  - name: Shop\n   probe: tcp://nas:1\n',
    ['3:1 this line is not indented like its neighbours: keys of one block begin in one column'],
  ],
  [
    'board:\n  title: Fernhill: the studio\n',
    [
      '2:10 a second `: ` belongs to this value: a text with `: ` in it goes in quotes, a block of keys begins below its key',
    ],
  ],
  [
    'board:\n  title:Fernhill\n  listen: x\n',
    ['2:3 this is no `key: value`: is there a colon, and a space after it?'],
  ],
  [
    'tell:\n  - headers: { Authorization: ${TOKEN} }\n',
    ['2:32 within { } or [ ] a `${NAME}` goes in quotes: "${NAME}"'],
  ],
  [
    'board: [1, 2\nservices: x\n',
    ['2:1 a bracket was opened before this and not closed: `]` or `}` is missing'],
  ],
  ['board:\n  title: @home\n', ['2:10 a text cannot begin with this sign: put it in quotes']],
  [
    'board:\n  title: "\\q"\n',
    [
      '2:11 an escape after `\\` that YAML does not know: write `\\\\` for the sign itself, or use single quotes',
    ],
  ],
  [
    `board: {}\n---\n${service}`,
    ['2:1 a second document begins here (`---`): one file holds one configuration'],
  ],
  [
    `board: { title: !secret title }\n${service}`,
    [
      '1:17 tags are not used here: leave out what begins with `!` (a secret is `${NAME}` or `file:PATH`)',
    ],
  ],
  [
    `board: { title: a, title: b }\n${service}`,
    ['1:20 `title` stands here a second time, first in line 1, column 10: keep one of them'],
  ],
  [`${service}\nboard: { ? [a] : b }`, ['2:12 expected a word before the colon']],
  [`${service}\n__proto__: { a: 1 }`, ['2:1 `__proto__`: unknown key']],
  [`${service}\nboard: { title: *shop }`, ['2:17 there is no anchor `&shop` before this `*shop`']],
  [
    `${service}\nboard: &b { title: *b }`,
    ['2:20 `*b` stands within the very block that it stands for'],
  ],
  [
    `${service}\nboard: { <<: 3 }`,
    ['2:10 `<<` merges a block: expected an alias to one, such as `<<: *base`'],
  ],
];

test.each(broken)('%j', (text, expected) => {
  expect(complaints(text)).toEqual(expected);
});

test('what stands above the first line that YAML cannot read is examined all the same', () => {
  const text = `
    boardd: {}
    services:
      - name: Shop
        evry: 30s
        needs: [nas]
      - name: "NAS
        probe: 12
  `;
  expect(complaints(text)).toEqual([
    '1:1 `boardd`: unknown key; did you mean `board`?',
    '4:5 `evry` of Shop: unknown key; did you mean `every`?',
    '6:11 a quote is opened here and never closed',
  ]);
});

test('anchors, aliases and merge keys give what they stand for; the own keys of a block win', () => {
  const loaded = load(`
services:
  - &base
    name: Shop
    group: Studio
    every: 1m
    probe: tcp://nas:80
  - <<: *base
    name: Archive
  - <<: [{ group: House }, *base]
    name: Gateway
`);
  expect(loaded.ok && loaded.config.services.map((s) => [s.id, s.group, s.everyMs])).toEqual([
    ['shop', 'Studio', 60_000],
    ['archive', 'Studio', 60_000],
    ['gateway', 'House', 60_000],
  ]);
});

test('a mistake in an anchored block is told where it is written', () => {
  const text = `
    services:
      - &base { name: Shop, evry: 1m, probe: "tcp://nas:80" }
      - { <<: *base, name: Archive }
  `;
  expect(complaints(text)).toEqual([
    '2:25 `evry` of Shop: unknown key; did you mean `every`?',
    '2:25 `evry` of Archive: unknown key; did you mean `every`?',
  ]);
});

test('anchors that explode are a mistake, told once and soon', () => {
  const levels = Array.from('bcdefghij', (name, index) => {
    const before = 'abcdefghij'[index];
    return `${name}: &${name} [${Array(10).fill(`*${before}`).join(', ')}]`;
  });
  const found = complaints(`a: &a [1, 2, 3]\n${levels.join('\n')}\n${service}`);
  expect(found.filter((line) => line.includes('anchors'))).toEqual([
    expect.stringMatching(
      new RegExp(`anchors within anchors: .* more than ${aliasedValuesCountMax} values$`),
    ),
  ]);
});

test('blocks within blocks without end are a mistake', () => {
  const deep = `board: ${'['.repeat(configDepthMax + 1)}${']'.repeat(configDepthMax + 1)}\n${service}`;
  expect(complaints(deep)).toContain(
    `1:${7 + configDepthMax} blocks within blocks, more than ${configDepthMax} deep`,
  );
  expect(load(`board: ${'['.repeat(20_000)}`).ok).toBe(false);
});

test('a configuration beyond the limit is not read', () => {
  expect(complaints(`${service}\n# ${'x'.repeat(configBytesMax)}`)).toEqual([
    '1:1 the configuration is longer than 1024 KiB',
  ]);
});
