/** A share of time in writing is never better than the share. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { sayShare } from '../../src/uptime/say.ts';

test.each([
  [1, '100 %'],
  [0, '0.00 %'],
  [0.5, '50.00 %'],
  [0.29, '29.00 %'],
  [0.57, '57.00 %'],
  [0.99, '99.00 %'],
  [0.995, '99.50 %'],
  [0.999, '99.90 %'],
  [0.9986064814814815, '99.86 %'],
  [0.99953, '99.95 %'],
  [0.99958, '99.95 %'],
  [0.9999, '99.99 %'],
  [0.99995, '99.995 %'],
  [0.99996, '99.996 %'],
  [0.999969, '99.996 %'],
  [0.99999, '99.999 %'],
  [0.999994, '99.9994 %'],
  [1 - 4e-10, '99.999999 %'],
  [1 - 2 ** -53, '99.999999 %'],
])('%d is written %s', (share, text) => {
  expect(sayShare(share)).toBe(text);
});

test('what is written is at most the share, and not a whole last digit less', () => {
  fc.assert(
    fc.property(fc.integer({ min: 0, max: 1_000_000_000 }), (billionths) => {
      const share = billionths / 1_000_000_000;
      const text = sayShare(share);
      const decimals = /\.(\d+)/.exec(text)?.[1]?.length ?? 0;
      const written = Number.parseFloat(text);
      expect(written).toBeLessThanOrEqual(100 * share + 1e-12);
      expect(written).toBeGreaterThan(100 * share - 10 ** -decimals - 1e-12);
    }),
  );
});

test('only all of the time is 100 %', () => {
  fc.assert(
    fc.property(
      fc.integer({ min: 1, max: 1_000_000 }),
      fc.integer({ min: 1, max: 365 }),
      (lostMs, days) => {
        const windowMs = days * 86_400_000;
        expect(sayShare((windowMs - lostMs) / windowMs)).not.toMatch(/^100/);
      },
    ),
  );
});
