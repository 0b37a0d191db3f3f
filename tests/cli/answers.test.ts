/** What `rollcall check` prints. */
import { expect, test } from 'vitest';
import type { Answer } from '../../src/base/answer.ts';
import { answersTable } from '../../src/cli/answers.ts';

const good: Answer = {
  id: 'stock',
  name: 'Stock list',
  where: '192.0.2.7:3306',
  at: '2026-11-25T09:00:00.000Z',
  outcome: 'answered',
  tookUs: 4_210,
  layer: null,
  reason: null,
  detail: null,
  hint: null,
  facts: { serverVersion: '10.11.19', finish: 'made-up-user' },
};
const bad: Answer = {
  ...good,
  name: 'Shop',
  where: 'shop.fernhill.home.arpa:80',
  outcome: 'failed',
  tookUs: 12_000,
  layer: 'port',
  reason: 'refused',
  detail: 'nothing listens there',
  hint: 'Is it started?',
  facts: {},
};

test('a line a service, aligned; below it what is wrong and what the service told', () => {
  expect(answersTable([good, bad], false)).toBe(
    [
      '● Stock list  192.0.2.7:3306              answered    4.2 ms',
      '    serverVersion 10.11.19, finish made-up-user',
      '✕ Shop        shop.fernhill.home.arpa:80  failed       12 ms',
      '    port, refused: nothing listens there',
      '    Is it started?',
      '',
    ].join('\n'),
  );
});

test('colour is for terminals only', () => {
  // biome-ignore lint/suspicious/noControlCharactersInRegex: the escape is what is looked for
  expect(answersTable([bad], true)).toMatch(/^\u001b\[31m✕\u001b\[0m /);
  expect(answersTable([], false)).toBe('Nothing to ask.\n');
});
