/** Planned time of a service out of windows that may overlap: against the set arithmetic of uptime. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { inOrderOfTime, isOf, plannedAround } from '../../src/base/planned-time.ts';
import type { PlannedWindow } from '../../src/base/values.ts';
import { union } from '../../src/uptime/intervals.ts';

const window = (from: number, to: number, serviceIds: readonly string[] | null = null) =>
  ({ id: `${from}.${to}`, name: 'work', why: null, from, to, serviceIds, origin: 'once' }) as const;

test('windows that overlap or meet count as one until the last of them ends', () => {
  const windows = inOrderOfTime([window(30, 40), window(10, 20), window(20, 25), window(15, 22)]);
  expect(plannedAround(windows, 'shop', 12)).toEqual({ from: 10, to: 25 });
  expect(plannedAround(windows, 'shop', 24)).toEqual({ from: 10, to: 25 });
  expect(plannedAround(windows, 'shop', 25)).toBeNull();
  expect(plannedAround(windows, 'shop', 30)).toEqual({ from: 30, to: 40 });
});

test('a window is about the services that it names, or about all', () => {
  const windows = [window(0, 10, ['nas']), window(5, 20)];
  expect(plannedAround(windows, 'shop', 2)).toBeNull();
  expect(plannedAround(windows, 'nas', 2)).toEqual({ from: 0, to: 20 });
});

const windowsArbitrary = fc.array(
  fc
    .tuple(fc.integer({ min: 0, max: 60 }), fc.integer({ min: 0, max: 15 }), fc.boolean())
    .map(([from, length, isOther]): PlannedWindow => {
      return window(from, from + length, isOther ? ['other'] : null);
    }),
  { maxLength: 12 },
);

test('it is the interval of the union of its windows in which the instant lies', () => {
  fc.assert(
    fc.property(windowsArbitrary, fc.integer({ min: -1, max: 80 }), (windows, at) => {
      const own = union(windows.filter((one) => isOf(one, 'shop')));
      const expected = own.find(({ from, to }) => from <= at && at < to) ?? null;
      const found = plannedAround(inOrderOfTime(windows), 'shop', at);
      expect(found).toEqual(expected && { from: expected.from, to: expected.to });
    }),
    { numRuns: 500 },
  );
});
