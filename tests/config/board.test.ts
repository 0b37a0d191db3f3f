/** What the configuration says of the board's readers, and of the household's page. */
import { describe, expect, test } from 'vitest';
import { hashPassphrase } from '../../src/base/passphrase.ts';
import { loadConfigText } from '../../src/config/load.ts';

const services = 'services: [{ name: Shop, probe: "tcp://192.0.2.1:80" }]';

function load(text: string, env: Record<string, string> = {}) {
  return loadConfigText({ text: `${text}\n${services}\n`, file: 'rollcall.yaml', env });
}

function configOf(text: string, env: Record<string, string> = {}) {
  const loaded = load(text, env);
  if (!loaded.ok) throw new Error(loaded.mistakes.map(({ message }) => message).join('\n'));
  return loaded;
}

function mistakesOf(text: string): string[] {
  const loaded = load(text);
  return loaded.ok ? [] : loaded.mistakes.map(({ message }) => message);
}

test('without a word everybody reads, at the root, by no proxy, and the household has no page', () => {
  const { board, household } = configOf('').config;
  expect(board).toMatchObject({ passphrase: null, tokens: [], base: '/', proxies: [] });
  expect(household).toBeNull();
});

test('passphrase and tokens are secrets, wherever they come from', () => {
  const { config, secrets } = configOf(
    `board: { passphrase: "\${PASS}", tokens: [0123456789abcdef0123] }`,
    { PASS: 'slip and glaze' },
  );
  expect(config.board.passphrase).toBe('slip and glaze');
  expect(secrets).toEqual(expect.arrayContaining(['slip and glaze', '0123456789abcdef0123']));
});

test('a hashed passphrase is taken as it is', async () => {
  const hashed = await hashPassphrase('slip and glaze');
  const { config, secrets } = configOf(`board: { passphrase: "${hashed}" }`);
  expect(config.board.passphrase).toBe(hashed);
  expect(secrets).toContain(hashed);
});

test('base, proxies and the household’s address are read', () => {
  const { config } = configOf(
    'board: { base: /rollcall/, proxies: [127.0.0.1, "2001:db8::/64"] }\nhousehold: { listen: "0.0.0.0:7656" }',
  );
  expect(config.board).toMatchObject({
    base: '/rollcall/',
    proxies: ['127.0.0.1', '2001:db8::/64'],
  });
  expect(config.household).toEqual({ listen: { host: '0.0.0.0', port: 7656 } });
});

test.each([
  [
    'https://board.fernhill.home.arpa/',
    'https://board.fernhill.home.arpa',
    ['board.fernhill.home.arpa'],
  ],
  ['http://192.0.2.7:7655/rollcall/', 'http://192.0.2.7:7655/rollcall', []],
  ['http://[2001:db8::7]:7655', 'http://[2001:db8::7]:7655', []],
])(
  'its address %s is what links begin with, and its name is one that it goes by',
  (written, address, names) => {
    const { config } = configOf(`board: { address: "${written}" }`);
    expect(config.board).toMatchObject({ address, names });
  },
);

test.each(['fernhill', 'ftp://fernhill/', 'https://me@fernhill/', 'https://fernhill/?a=1'])(
  'no link can be made of the address %s',
  (written) => {
    expect(mistakesOf(`board: { address: "${written}" }`)).toEqual([
      expect.stringContaining('expected the address of the board'),
    ]);
  },
);

describe('mistakes', () => {
  test.each([
    [
      'board: { passphrase: kiln }',
      '`board.passphrase`: found a secret, expected at least 8 characters, or what `rollcall key passphrase` prints',
    ],
    [
      'board: { passphrase: "scrypt:14:8:5:abc:def" }',
      '`board.passphrase`: found a secret, expected at least 8 characters, or what `rollcall key passphrase` prints',
    ],
    [
      'board: { passphrase: slip and glaze, tokens: [short] }',
      '`board.tokens`: found a secret, expected at least 20 characters (`openssl rand -hex 32` makes a token)',
    ],
    [
      'board: { tokens: [0123456789abcdef0123] }',
      '`board.tokens`: found a list, expected a `passphrase` beside them: without one everybody reads the board anyway',
    ],
    [
      'board: { base: rollcall }',
      '`board.base`: found "rollcall", expected a path with a slash at either end, such as /rollcall/ (did you mean /rollcall/?)',
    ],
    [
      'board: { base: /../ }',
      '`board.base`: found "/../", expected a path with a slash at either end, such as /rollcall/',
    ],
    [
      'board: { proxies: [fernhill] }',
      '`board.proxies`: found "fernhill", expected an address, such as 192.0.2.7 or 192.0.2.0/28',
    ],
    [
      'board: { proxies: [0.0.0.0/0] }',
      '`board.proxies`: found "0.0.0.0/0", expected an address, such as 192.0.2.7 or 192.0.2.0/28',
    ],
    [
      'household: { listen: 7656 }',
      '`household.listen`: found 7656, expected host:port, such as 127.0.0.1:7655 or [::1]:7655 (did you mean 127.0.0.1:7656?)',
    ],
    [
      'board: { password: slip and glaze }',
      '`board.password`: unknown key; did you mean `passphrase`?',
    ],
  ])('%s', (text, message) => {
    expect(mistakesOf(text)).toEqual([message]);
  });
});
