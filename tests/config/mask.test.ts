/** What is taken out of a text before anybody reads it, and in which written forms. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { maskSecrets, secretMasker } from '../../src/config/mask.ts';

test('a secret is replaced wherever it stands', () => {
  expect(maskSecrets('sent s3cr3t, got s3cr3t back', ['s3cr3t'])).toBe('sent ••••, got •••• back');
});

test('less than four characters are left alone: they are in every text', () => {
  expect(maskSecrets('abc abcd', ['abc', ''])).toBe('abc abcd');
});

test('a secret within another leaves nothing of either', () => {
  expect(maskSecrets('Bearer kiln-and-clay', ['kiln', 'Bearer kiln-and-clay'])).toBe('••••');
});

test('it is found URL-encoded, in either case and as in a form', () => {
  const secret = 'pot & päß/wörd';
  const encoded = encodeURIComponent(secret);
  expect(maskSecrets(`?key=${encoded}`, [secret])).toBe('?key=••••');
  expect(maskSecrets(`?key=${encoded.toLowerCase()}`, [secret])).not.toContain('rd');
  expect(maskSecrets(new URLSearchParams({ key: secret }).toString(), [secret])).toBe('key=••••');
});

test('it is found in JSON', () => {
  const secret = 'say "kiln"\\';
  expect(maskSecrets(JSON.stringify({ token: secret }), [secret])).toBe('{"token":"••••"}');
});

test('it is found in the base64 of user and password, whatever the user is called', () => {
  // RFC 7617 §2: user-id ":" password, base64.
  for (const user of ['a', 'ab', 'abc', 'Aladdin']) {
    const header = Buffer.from(`${user}:open sesame`).toString('base64');
    const masked = maskSecrets(`Basic ${header}`, ['open sesame']);
    expect(masked).toMatch(/^Basic .*••••.{0,4}$/);
    expect(Buffer.from(masked.replace(/^Basic |••••/g, ''), 'base64').toString()).not.toContain(
      'sesam',
    );
  }
  // The example of RFC 7617 §2.
  expect(maskSecrets('Basic QWxhZGRpbjpvcGVuIHNlc2FtZQ==', ['Aladdin:open sesame'])).toBe(
    'Basic ••••',
  );
});

test('no form of a secret survives, whatever stands around it', () => {
  const secret = fc.string({ minLength: 6, maxLength: 40, unit: 'binary' });
  fc.assert(
    fc.property(secret, fc.string(), fc.string(), (hidden, before, after) => {
      const mask = secretMasker([hidden]);
      const forms = [
        hidden,
        encodeURIComponent(hidden),
        Buffer.from(hidden).toString('base64'),
        Buffer.from(hidden).toString('base64url'),
        JSON.stringify(hidden).slice(1, -1),
      ];
      for (const form of forms) {
        const masked = mask(`${before}${form}${after}`);
        expect(masked).toContain('••••');
        expect(masked).not.toContain(form);
      }
    }),
  );
});

test('half a surrogate pair does no harm', () => {
  expect(maskSecrets('kiln\ud800 and more', ['kiln\ud800'])).toBe('•••• and more');
});
