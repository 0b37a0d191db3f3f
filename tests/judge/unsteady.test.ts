/** The penalty of unsteadiness against the table and the example of RFC 2439. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import {
  ceiling,
  cutoff,
  decayed,
  halfLifeMs,
  reuse,
  type Steadiness,
  steadinessAfter,
  steady,
} from '../../src/judge/unsteady.ts';

const minute = 60_000;

/** Outages that begin at these instants, one after the other. */
function after(instants: readonly number[]): Steadiness {
  return instants.reduce((before, at) => steadinessAfter(before, at, true), steady);
}

/** Figures of merit without the ceiling, for the tables that have none. */
function uncapped(periodMs: number, count: number): readonly number[] {
  let penalty = 0;
  return Array.from({ length: count }, () => {
    penalty = decayed({ penalty, at: 0, unsteadySince: null }, periodMs) + 1;
    return penalty;
  });
}

test('grows as in RFC 2439 §4.3 when outages come every quarter of a half-life', () => {
  // Printed there: 1, 1.84, 2.55, 3.14, 3.64, 4.06, 4.42, 4.71, 4.96, 5.17.
  const printed = [1, 1.84, 2.55, 3.14, 3.64, 4.06, 4.42, 4.71, 4.96, 5.17];
  uncapped(halfLifeMs / 4, 10).forEach((value, index) => {
    expect(value).toBeCloseTo(printed[index] ?? Number.NaN, 2);
  });
  expect(uncapped(halfLifeMs / 4, 400).at(-1)).toBeCloseTo(1 / (1 - 2 ** -0.25), 9);
  expect(uncapped(halfLifeMs / 2, 7).at(-1)).toBeCloseTo(3.11243686708, 9);
});

test('the longest wait after the last outage is that of the example in RFC 2439, section 4', () => {
  expect(Math.log2(ceiling / reuse)).toBeCloseTo(2.584962500721156, 12);
});

test('halves in fifteen minutes (RFC 7196, table 1: half-life)', () => {
  const one = after([0]);
  expect(decayed(one, 15 * minute)).toBeCloseTo(0.5, 12);
  // 3000 after 5, 10, 15, 45 min, in thousandths.
  const three: Steadiness = { penalty: 3_000, at: 0, unsteadySince: null };
  expect([5, 10, 15, 45].map((after) => decayed(three, after * minute))).toEqual([
    expect.closeTo(2381.1015779522995, 9),
    expect.closeTo(1889.8815748423099, 9),
    expect.closeTo(1500, 9),
    expect.closeTo(375, 9),
  ]);
});

test('one outage is no unsteadiness, a second one soon after it is, one an hour later is not', () => {
  expect(after([0]).unsteadySince).toBeNull();
  expect(after([0, 5 * minute]).unsteadySince).toBe(5 * minute);
  expect(after([0, 60 * minute]).unsteadySince).toBeNull();
});

test('is over when the penalty has come below the lower value, and not before', () => {
  const unsteady = after([0, minute, 2 * minute]);
  const penalty = decayed(unsteady, unsteady.at);
  const overAt = unsteady.at + halfLifeMs * Math.log2(penalty / reuse);
  expect(steadinessAfter(unsteady, Math.floor(overAt) - 1, false)).toBe(unsteady);
  expect(steadinessAfter(unsteady, Math.ceil(overAt) + 1, false).unsteadySince).toBeNull();
});

test('whatever happens the penalty stays within its bounds, and a clock that goes back adds nothing', () => {
  const courses = fc.array(fc.record({ at: fc.nat(10 * halfLifeMs), down: fc.boolean() }));
  fc.assert(
    fc.property(courses, (course) => {
      let at: Steadiness = steady;
      for (const event of course) {
        const next = steadinessAfter(at, event.at, event.down);
        expect(next.penalty).toBeGreaterThanOrEqual(0);
        expect(next.penalty).toBeLessThanOrEqual(ceiling);
        if (at.unsteadySince === null && next.unsteadySince !== null) {
          expect(next.penalty).toBeGreaterThan(cutoff);
        }
        at = next;
      }
    }),
  );
});
