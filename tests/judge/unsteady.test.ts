/** The penalty of unsteadiness against the tables and the example of RFC 2439. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import {
  calmed,
  ceiling,
  cutoff,
  decayed,
  excused,
  halfLifeMs,
  latelyMs,
  reuse,
  type SetbackTo,
  type Steadiness,
  setBack,
  setbacksCountMax,
  steady,
} from '../../src/judge/unsteady.ts';

const minute = 60_000;

/** Setbacks at these instants, one after the other. */
function after(instants: readonly number[], to: SetbackTo = 'down'): Steadiness {
  return instants.reduce((before, at) => setBack(before, at, to), steady);
}

/** Figures of merit without the ceiling, for the tables that have none. */
function uncapped(periodMs: number, count: number): readonly number[] {
  let penalty = 0;
  return Array.from({ length: count }, () => {
    penalty = decayed({ penalty, at: 0 }, periodMs) + 1;
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
  const three = { penalty: 3_000, at: 0 };
  expect([5, 10, 15, 45].map((after) => decayed(three, after * minute))).toEqual([
    expect.closeTo(2381.1015779522995, 9),
    expect.closeTo(1889.8815748423099, 9),
    expect.closeTo(1500, 9),
    expect.closeTo(375, 9),
  ]);
});

test('penalties a minute apart add up (1000, 1954.84, 2866.56, 3737.11 for withdrawals of 1000)', () => {
  const printed = [1, 1.9548416039104166, 2.866564092468633, 3.737114655764757];
  printed.forEach((value, nth) => {
    const instants = Array.from({ length: nth + 1 }, (_, at) => at * minute);
    expect(after(instants).penalty).toBeCloseTo(value, 12);
  });
});

test('a change that leaves it serving counts half of an outage (RFC 7196, table 1: attribute change 500)', () => {
  expect(after([0], 'degraded').penalty).toBe(0.5);
  expect(after([0], 'unobserved').penalty).toBe(0.5);
  expect(after([0, 0, 0], 'degraded').unsteadySince).toBeNull();
  expect(after([0, 0, 0, 1], 'degraded').unsteadySince).toBe(1);
});

test('one outage is no unsteadiness, a second one soon after it is, one an hour later is not', () => {
  expect(after([0]).unsteadySince).toBeNull();
  expect(after([0, 5 * minute]).unsteadySince).toBe(5 * minute);
  expect(after([0, 60 * minute]).unsteadySince).toBeNull();
});

test('is over when the penalty has come below the lower value, and not before', () => {
  const unsteady = after([0, minute, 2 * minute]);
  const overAt = unsteady.at + halfLifeMs * Math.log2(unsteady.penalty / reuse);
  expect(calmed(unsteady, Math.floor(overAt) - 1)).toBe(unsteady);
  expect(calmed(unsteady, Math.ceil(overAt) + 1).unsteadySince).toBeNull();
});

test('a setback long after finds it steady again, unless it is too much again', () => {
  const unsteady = after([0, minute]);
  // 0.6 is left: below the lower value, and more than half.
  const late = unsteady.at + halfLifeMs * Math.log2(unsteady.penalty / 0.6);
  expect(setBack(unsteady, late, 'down').unsteadySince).toBe(minute);
  const later = unsteady.at + halfLifeMs * Math.log2(unsteady.penalty / 0.4);
  expect(setBack(unsteady, later, 'down').unsteadySince).toBeNull();
  // Not below it yet: it goes on, however little is added.
  const sooner = unsteady.at + halfLifeMs * Math.log2(unsteady.penalty / 0.8);
  expect(setBack(unsteady, sooner, 'degraded').unsteadySince).toBe(minute);
});

test('what turns out to be the fault of another counts as if it had not been', () => {
  const once = after([0]);
  const twice = setBack(once, 4 * minute, 'down');
  const now = 4 * minute + 9_000;
  const forgiven = excused(twice, 4 * minute, now);
  expect(forgiven.penalty).toBeCloseTo(decayed(once, now), 12);
  expect(forgiven).toMatchObject({ unsteadySince: null, setbacks: once.setbacks, at: now });
  // It was unsteady before.
  const thrice = setBack(twice, 5 * minute, 'down');
  expect(excused(thrice, 5 * minute, 5 * minute).unsteadySince).toBe(4 * minute);
  expect(excused(twice, 3 * minute, now)).toBe(twice);
});

test('remembers what was of late, and no more of it than a few', () => {
  const often = after(Array.from({ length: 40 }, (_, nth) => nth * minute));
  expect(often.setbacks).toHaveLength(setbacksCountMax);
  expect(often.setbacks.at(-1)?.at).toBe(39 * minute);
  expect(setBack(after([0]), latelyMs, 'degraded').setbacks).toEqual([
    { at: latelyMs, to: 'degraded' },
  ]);
});

test('down once a minute for a day: unsteady once, from the second outage until it is over', () => {
  let at: Steadiness = steady;
  const turns: string[] = [];
  const see = (now: number, next: Steadiness) => {
    if ((next.unsteadySince === null) !== (at.unsteadySince === null)) {
      turns.push(`${next.unsteadySince === null ? 'steady' : 'unsteady'} ${now / minute}`);
    }
    at = next;
  };
  for (let nth = 0; nth < 24 * 60; nth++) {
    see(nth * minute, setBack(at, nth * minute, 'down'));
    see((nth + 0.5) * minute, calmed(at, (nth + 0.5) * minute));
  }
  const last = 24 * 60 - 1;
  expect(at.penalty).toBe(ceiling);
  for (let nth = last + 1; nth < last + 60; nth++) see(nth * minute, calmed(at, nth * minute));
  // 15 min × 2.58 half-lives.
  expect(turns).toEqual(['unsteady 1', `steady ${last + 39}`]);
});

test('whatever happens the penalty stays within its bounds, and a clock that goes back adds nothing', () => {
  const courses = fc.array(
    fc.record({
      at: fc.nat(10 * halfLifeMs),
      to: fc.option(fc.constantFrom<SetbackTo>('down', 'degraded', 'unobserved')),
      isExcused: fc.boolean(),
    }),
  );
  fc.assert(
    fc.property(courses, (course) => {
      let at: Steadiness = steady;
      for (const event of course) {
        const next = event.to ? setBack(at, event.at, event.to) : calmed(at, event.at);
        expect(next.penalty).toBeGreaterThanOrEqual(0);
        expect(next.penalty).toBeLessThanOrEqual(ceiling);
        if (at.unsteadySince === null && next.unsteadySince !== null) {
          expect(next.penalty).toBeGreaterThan(cutoff);
        }
        if (at.unsteadySince !== null && next.unsteadySince === null) {
          expect(decayed(at, event.at)).toBeLessThan(reuse);
        }
        at = event.isExcused ? excused(next, event.at, event.at) : next;
        expect(at.penalty).toBeGreaterThanOrEqual(0);
      }
    }),
  );
});
