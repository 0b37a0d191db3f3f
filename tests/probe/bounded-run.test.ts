/** A search in hostile text ends in time. */
import { expect, test } from 'vitest';
import { calculationMsMax } from '../../src/base/limits.ts';
import { runBounded } from '../../src/probe/bounded-run.ts';

test('what ends in time gives its value', () => {
  expect(runBounded(() => 7)).toEqual({ ok: true, value: 7 });
  expect(runBounded(() => undefined)).toEqual({ ok: true, value: undefined });
});

test('a regular expression that would take until the end of days is stopped', () => {
  const startedMs = performance.now();
  expect(runBounded(() => /^(a+)+$/.test(`${'a'.repeat(64)}b`))).toEqual({ ok: false });
  // Four times the limit: the machine may be busy.
  expect(performance.now() - startedMs).toBeLessThan(calculationMsMax * 4);
});

test('a loop is stopped, and the next calculation is as good as any', () => {
  const endless = () => {
    for (;;);
  };
  expect(runBounded(endless)).toEqual({ ok: false });
  expect(runBounded(() => 'next')).toEqual({ ok: true, value: 'next' });
});

test('what the calculation throws comes through', () => {
  expect(() =>
    runBounded(() => {
      throw new RangeError('defect');
    }),
  ).toThrow(RangeError);
});
