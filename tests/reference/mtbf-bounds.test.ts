/** Confidence bounds of MTBF against published values: NIST/SEMATECH e-Handbook §8.4.5.1, and χ² tables. */
import { describe, expect, test } from 'vitest';
import { chiSquareQuantile, mtbfBounds } from '../../src/uptime/mtbf-bounds.ts';

const hour = 3_600_000;

test("the handbook's example: 800 h, two failures, 90 %", () => {
  // e-Handbook §8.4.5.1: lower 127.0690, upper 2251.229; to more digits recomputed with another program.
  const bounds = mtbfBounds(800 * hour, 2, 0.9);
  expect((bounds?.lowMs ?? 0) / hour).toBeCloseTo(127.068968274, 6);
  expect((bounds?.highMs ?? 0) / hour).toBeCloseTo(2251.22861063, 5);
});

test('no failure in 1000 h: only a lower bound, 333.808 h at 95 % one-sided', () => {
  // e-Handbook §8.4.5.1: T / −ln α.
  const bounds = mtbfBounds(1_000 * hour, 0, 0.9);
  expect((bounds?.lowMs ?? 0) / hour).toBeCloseTo(1_000 / -Math.log(0.05), 6);
  expect(bounds?.highMs).toBeNull();
});

describe('factors of T/r (e-Handbook §8.4.5.1, its table; recomputed to eight digits)', () => {
  // biome-ignore format: a table
  const rows: readonly [r: number, low60: number, up60: number, low90: number, up90: number, low95: number, up95: number][] = [
    [1, 0.33396694, 4.4814201, 0.21079860, 19.495726, 0.17948026, 39.497890],
    [2, 0.46739566, 2.4260412, 0.31767242, 5.6280715, 0.27682858, 8.2573220],
    [5, 0.63243162, 1.6183641, 0.47560006, 2.5378784, 0.42851026, 3.0797918],
    [10, 0.73256172, 1.3718890, 0.58954550, 1.8431801, 0.54376326, 2.0853367],
    [30, 0.84358146, 1.1848197, 0.73727269, 1.3892761, 0.70049488, 1.4821494],
    [100, 0.91452452, 1.0928795, 0.84688868, 1.1885056, 0.82218726, 1.2290449],
    [500, 0.96203010, 1.0393062, 0.92871811, 1.0780574, 0.91607092, 1.0937842],
  ];
  test.each(rows)('%s failures', (r, low60, up60, low90, up90, low95, up95) => {
    const factors = (confidence: number) => {
      const bounds = mtbfBounds(r, r, confidence);
      return [bounds?.lowMs ?? 0, bounds?.highMs ?? 0];
    };
    [...factors(0.6), ...factors(0.9), ...factors(0.95)].forEach((factor, nth) => {
      const expected = [low60, up60, low90, up90, low95, up95][nth] ?? 0;
      expect(Math.abs(factor / expected - 1)).toBeLessThan(1e-7);
    });
  });
});

// Quantiles of χ² with even degrees of freedom, as every table has them; digits recomputed with two other programs.
// biome-ignore format: a table
test.each([
  [0.05, 2, 0.102586588775101], [0.95, 2, 5.99146454710798], [0.025, 4, 0.484418557087930], [0.05, 4, 0.710723021397324],
  [0.95, 6, 12.5915872437440], [0.975, 6, 14.4493753354479], [0.05, 20, 10.8508113941826], [0.95, 20, 31.4104328442309],
  [0.95, 10, 18.3070380532751], [0.99, 10, 23.2092511589544],
])('χ²(%s; %s) = %s', (p, degrees, expected) => {
  expect(chiSquareQuantile(p, degrees / 2)).toBeCloseTo(expected, 10);
});

test('nothing operated: no bounds', () => {
  expect(mtbfBounds(0, 0)).toBeNull();
});
