/** Passphrases, hashed: the published value, what is refused, and that nothing of them shows. */
import { describe, expect, test } from 'vitest';
import { passphraseCharsMax } from '../../src/base/limits.ts';
import {
  hashPassphrase,
  isHashedPassphrase,
  passphraseMatches,
} from '../../src/base/passphrase.ts';

/** RFC 7914 §12, third vector: "pleaseletmein", "SodiumChloride", N = 16384, r = 8, p = 1; the first 32 bytes. */
const published = [
  'scrypt:14:8:1',
  Buffer.from('SodiumChloride').toString('base64url'),
  Buffer.from('7023bdcb3afd7348461c06cd81fd38ebfda8fbba904f8e3ea9b543f6545da1f2', 'hex').toString(
    'base64url',
  ),
].join(':');

test('the published value is reached', async () => {
  expect(await passphraseMatches('pleaseletmein', published)).toBe(true);
  expect(await passphraseMatches('pleaseletmeIn', published)).toBe(false);
});

test('what is hashed says what it cost, fits itself, and differs each time', async () => {
  const hashed = await hashPassphrase('slip and glaze');
  // OWASP Password Storage Cheat Sheet: N = 2^14, r = 8, p = 5.
  expect(hashed).toMatch(/^scrypt:14:8:5:[\w-]{22}:[\w-]{43}$/);
  expect(isHashedPassphrase(hashed)).toBe(true);
  expect(await passphraseMatches('slip and glaze', hashed)).toBe(true);
  expect(await passphraseMatches('slip and glaze ', hashed)).toBe(false);
  expect(await hashPassphrase('slip and glaze')).not.toBe(hashed);
});

test('with a given salt it is the same again', async () => {
  const salt = Buffer.alloc(16, 7);
  expect(await hashPassphrase('slip and glaze', salt)).toBe(
    await hashPassphrase('slip and glaze', salt),
  );
});

test('however an accented letter was put together, it is the same letter', async () => {
  const hashed = await hashPassphrase('caf\u00e9 kiln');
  expect(await passphraseMatches('cafe\u0301 kiln', hashed)).toBe(true);
});

test('a very long one is neither refused nor without end', async () => {
  const hashed = await hashPassphrase('x'.repeat(passphraseCharsMax));
  expect(await passphraseMatches('x'.repeat(10 * passphraseCharsMax), hashed)).toBe(true);
});

describe('no hash is', () => {
  const [, , , , salt, key] = published.split(':');
  test.each([
    ['a passphrase', 'slip and glaze'],
    ['one without a key', `scrypt:14:8:1:${salt}`],
    ['one with a short key', `scrypt:14:8:1:${salt}:${key?.slice(1)}`],
    ['one with a short salt', `scrypt:14:8:1:TmFDbA:${key}`],
    ['one that costs nothing', `scrypt:1:8:1:${salt}:${key}`],
    ['one without blocks', `scrypt:14:0:1:${salt}:${key}`],
    ['one that takes 256 MiB', `scrypt:18:8:1:${salt}:${key}`],
    ['one without a turn', `scrypt:14:8:0:${salt}:${key}`],
    ['one with too many turns', `scrypt:14:8:17:${salt}:${key}`],
  ])('%s', async (_what, text) => {
    expect(isHashedPassphrase(text)).toBe(false);
    await expect(passphraseMatches('slip and glaze', text)).rejects.toThrow('not a hashed');
  });
});
