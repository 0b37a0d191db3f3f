/** Interval arithmetic against a model that holds each millisecond by itself. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import type { Interval, IntervalSet } from '../../src/uptime/intervals.ts';
import { clip, intersect, subtract, totalMs, union } from '../../src/uptime/intervals.ts';

const lengthMs = 40;

const interval = fc
  .record({
    from: fc.integer({ min: 0, max: lengthMs }),
    to: fc.integer({ min: 0, max: lengthMs }),
  })
  .map(({ from, to }): Interval => ({ from, to }));
const intervals = fc.array(interval, { maxLength: 12 });
const set = intervals.map(union);

/** The model: for each millisecond whether it belongs to any of the intervals. */
function bits(of: readonly Interval[]): readonly boolean[] {
  return Array.from({ length: lengthMs }, (_, at) =>
    of.some(({ from, to }) => from <= at && at < to),
  );
}

function isSet(of: IntervalSet): boolean {
  return of.every(({ from, to }, index) => from < to && (index === 0 || of[index - 1]!.to < from));
}

test('a union holds the milliseconds of all its intervals, written in the one way', () => {
  fc.assert(
    fc.property(intervals, (some) => {
      expect(bits(union(some))).toEqual(bits(some));
      expect(isSet(union(some))).toBe(true);
    }),
  );
});

test('an intersection holds the milliseconds that both sets hold', () => {
  fc.assert(
    fc.property(set, set, (a, b) => {
      expect(bits(intersect(a, b))).toEqual(bits(a).map((bit, at) => bit && bits(b)[at]));
      expect(isSet(intersect(a, b))).toBe(true);
    }),
  );
});

test('a difference holds the milliseconds that only the first set holds', () => {
  fc.assert(
    fc.property(set, set, (a, b) => {
      expect(bits(subtract(a, b))).toEqual(bits(a).map((bit, at) => bit && !bits(b)[at]));
      expect(isSet(subtract(a, b))).toBe(true);
    }),
  );
});

test('a clipped set holds its milliseconds inside the window, none for a window turned round', () => {
  fc.assert(
    fc.property(set, interval, (a, window) => {
      expect(bits(clip(a, window))).toEqual(bits(a).map((bit, at) => bit && bits([window])[at]));
    }),
  );
});

test('the total is the number of milliseconds held', () => {
  fc.assert(
    fc.property(set, (a) => {
      expect(totalMs(a)).toBe(bits(a).filter(Boolean).length);
    }),
  );
});

test('intervals that touch become one, empty ones vanish', () => {
  const touching = [
    { from: 5, to: 9 },
    { from: 1, to: 5 },
    { from: 20, to: 20 },
    { from: 30, to: 29 },
  ];
  expect(union(touching)).toEqual([{ from: 1, to: 9 }]);
});

test('the arguments stay as they were', () => {
  const given = [
    { from: 5, to: 9 },
    { from: 1, to: 6 },
  ];
  union(given);
  expect(given).toEqual([
    { from: 5, to: 9 },
    { from: 1, to: 6 },
  ]);
});
