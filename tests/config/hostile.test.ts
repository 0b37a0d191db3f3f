/** Whatever stands in the file: it ends with a configuration or with mistakes, and no secret is in either's words. */
// biome-ignore-all lint/suspicious/noTemplateCurlyInString: the configuration's own variables are what is tested
import { readFileSync } from 'node:fs';
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { parse, stringify } from 'yaml';
import { formatMistake } from '../../src/config/mistake.ts';
import { load } from '../support/config-text.ts';

const example = readFileSync(new URL('../../config.example.yaml', import.meta.url), 'utf8');
const env = {
  WEBHOOK_SECRET: `whsec_${Buffer.alloc(32, 7).toString('base64')}`,
  CHAT_TOKEN: 'token-1234',
  SMTP_PASSWORD: 'glaze-1234',
};

/** Everything that a person would read of it; checked for what must hold of every outcome. */
function wordsOf(text: string, around: Parameters<typeof load>[1] = { env }): string {
  const loaded = load(text, around);
  if (loaded.ok) return loaded.config.services.map(({ where }) => where).join('\n');
  expect(loaded.mistakes.length).toBeGreaterThan(0);
  const lines = text.split('\n').length;
  for (const { line, column, message } of loaded.mistakes) {
    expect(line).toBeGreaterThanOrEqual(1);
    expect(line).toBeLessThanOrEqual(lines);
    expect(column).toBeGreaterThanOrEqual(1);
    // Words that only the libraries use.
    expect(message).not.toMatch(/invalid|unrecognized|too_small|discriminator|undefined|\[object/i);
    expect(message).not.toMatch(/\n/);
    expect(message.length).toBeLessThan(1_000);
  }
  return loaded.mistakes.map(formatMistake).join('\n');
}

test('any text ends in a configuration or in mistakes', () => {
  const piece = fc.constantFrom(
    ...[
      'services:',
      'tell:',
      '- ',
      '  ',
      '\n',
      ': ',
      'name: x',
      '[',
      ']',
      '{',
      '}',
      '"',
      "'",
      '&a ',
      '*a',
    ],
    ...[
      '<<: ',
      '? ',
      '|\n',
      '>\n',
      '!t ',
      '#',
      '---\n',
      '%Y',
      '\t',
      '${A}',
      '${',
      '$${',
      'file:x',
      '@',
      ',',
    ],
  );
  const text = fc.oneof(
    fc
      .array(fc.oneof({ weight: 4, arbitrary: piece }, fc.string()), { maxLength: 30 })
      .map((all) => all.join('')),
    fc.string({ unit: 'binary', maxLength: 200 }),
  );
  fc.assert(
    fc.property(text, (written) => void wordsOf(written)),
    { numRuns: 400 },
  );
});

test('the example, cut off or changed at any place, ends in a configuration or in mistakes', () => {
  const cut = fc.nat(example.length);
  fc.assert(
    fc.property(cut, fc.nat(30), fc.string({ maxLength: 10 }), (at, dropped, put) => {
      wordsOf(example.slice(0, at));
      wordsOf(`${example.slice(0, at)}${put}${example.slice(at + dropped)}`);
    }),
    { numRuns: 60 },
  );
});

const value = fc.oneof(
  fc.jsonValue({ maxDepth: 3 }),
  fc.constantFrom(
    '${A}',
    '30s',
    'tcp://nas:1',
    'https://x/?y=1',
    '__proto__',
    'constructor',
    -1,
    1e300,
    [],
    {},
  ),
);

test('any values at any places end in a configuration or in mistakes', () => {
  fc.assert(
    fc.property(fc.nat(10_000), value, (seed, put) => {
      wordsOf(stringify(replaced(parse(example), seed, put)));
    }),
    { numRuns: 150 },
  );
});

test('keys by which a value is made a text are keys like any other', () => {
  for (const key of ['toString', 'valueOf', 'constructor', '__proto__', 'hasOwnProperty']) {
    for (const place of ['every', 'name', 'needs', 'probe', 'slow', 'objective', 'open']) {
      const service = { name: 'A', probe: 'tcp://a:1', [place]: { [key]: 1 } };
      expect(wordsOf(stringify({ services: [service] })), `${place}.${key}`).not.toBe('');
      wordsOf(stringify({ services: [{ ...service, [place]: [{ [key]: {} }] }] }));
    }
  }
});

test('any values at all end in mistakes', () => {
  fc.assert(
    fc.property(fc.jsonValue(), (any) => void wordsOf(stringify(any))),
    { numRuns: 100 },
  );
});

const token = fc
  .array(fc.constantFrom(...'abcdefghijklmnopqrstuvwxyz0123456789'), {
    minLength: 12,
    maxLength: 20,
  })
  .map((letters) => letters.join(''));

test('a value from the environment or from a file is never printed, wherever it was put', () => {
  const way = fc.constantFrom(
    '${S}',
    'file:/run/s',
    'tcp://${S}',
    'x-${S}',
    '${S} minutes',
    'https://${S}/?${S}',
  );
  fc.assert(
    fc.property(
      token,
      fc.nat(10_000),
      fc.nat(10_000),
      fc.tuple(way, way),
      (hidden, ...[first, second, ways]) => {
        const tree = replaced(replaced(parse(broken), first, ways[0]), second, ways[1]);
        const around = { env: { ...env, S: hidden }, files: { '/run/s': hidden } };
        const loaded = load(stringify(tree), around);
        if (loaded.ok) return;
        const words = loaded.mistakes.map(formatMistake).join('\n');
        expect(words.toLowerCase()).not.toContain(hidden);
        // Nothing had to be taken out afterwards: no sentence was made of it.
        expect(words.replaceAll('••••@', '')).not.toContain('•');
      },
    ),
    { numRuns: 150 },
  );
});

test('a secret that stands in the file is never printed, right or wrong', () => {
  fc.assert(
    fc.property(token, (hidden) => {
      // Each another one, so that none is hidden only because it is known from elsewhere.
      const [a, b, c, d, e, f, g, h, i, j, k] = Array.from('abcdefghijk', (end) => hidden + end);
      const http = { kind: 'http', url: `htp//u:${a}@x`, headers: { 'X-A': `\n${b}` } };
      const text = stringify({
        services: [
          { name: 'A', probe: http },
          { name: 'B', probe: { kind: 'postgres', host: 'db', port: 1, password: [c] } },
          { name: 'C', probe: `postgres://u:${d}@db:99999` },
          { name: 'D', probe: `htps://u:${e}@db` },
          { name: 'E', probe: `tcp:/u:${f}@db` },
          { name: 'F', probe: `https://${'x'.repeat(3_000)}/?key=${g}` },
          { name: 'G', probe: 'tcp://nas:1', open: `shop.example/?key=${h}` },
        ],
        tell: [
          { name: 'a', webhook: `https://u:${i}@x`, secret: j },
          { name: 'b', webhook: `hooks/${k}`, headers: { Authorization: `ü ${hidden}` } },
        ],
      });
      const words = wordsOf(text);
      expect(words.split('\n').length).toBe(12);
      expect(words).not.toContain(hidden);
      expect(words.replaceAll('••••@', '')).not.toContain('•');
    }),
    { numRuns: 50 },
  );
});

/** The example with some mistakes in it, so that there is always something to say. */
const broken = `${example}\nboardd: 1\n`
  .replace('needs: [nas]', 'needs: [nass]')
  .replace('every: 1m', 'evry: 1m');

/** The tree with its `seed`-th value replaced. */
function replaced(tree: unknown, seed: number, put: unknown): unknown {
  const paths = pathsOf(tree, []);
  const path = paths[seed % paths.length] ?? [];
  return put === undefined ? tree : setAt(tree, path, put);
}

function pathsOf(node: unknown, path: readonly string[]): (readonly string[])[] {
  if (typeof node !== 'object' || node === null) return [path];
  return [path, ...Object.entries(node).flatMap(([key, inner]) => pathsOf(inner, [...path, key]))];
}

function setAt(node: unknown, [step, ...rest]: readonly string[], put: unknown): unknown {
  if (step === undefined || typeof node !== 'object' || node === null) return put;
  const entries = Object.entries(node).map(([key, inner]) => [
    key,
    key === step ? setAt(inner, rest, put) : inner,
  ]);
  return Array.isArray(node) ? entries.map(([, inner]) => inner) : Object.fromEntries(entries);
}
