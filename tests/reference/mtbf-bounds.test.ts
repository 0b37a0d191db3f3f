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

const levels = [0.6, 0.8, 0.9, 0.95] as const;

/*
 * The handbook prints its table to four decimals. Two of them, as remembered, are wrong in the last place: for one
 * failure 19.4958 and 39.4978, where 19.4957 and 39.4979 are right. Here are eight digits, recomputed.
 */
describe('factors of T/r (e-Handbook §8.4.5.1, its table), lower and upper at 60, 80, 90 and 95 %', () => {
  // biome-ignore format: a table
  const rows: readonly [failures: number, ...factors: number[]][] = [
    [1, 0.33396694, 4.4814201, 0.25708790, 9.4912216, 0.21079860, 19.495726, 0.17948026, 39.497890],
    [2, 0.46739566, 2.4260412, 0.37577595, 3.7607302, 0.31767242, 5.6280715, 0.27682858, 8.2573220],
    [3, 0.54396648, 1.9543411, 0.44904916, 2.7221617, 0.38691422, 3.6688656, 0.34218165, 4.8490952],
    [4, 0.59515141, 1.7415635, 0.50040097, 2.2925664, 0.43699041, 2.9275753, 0.39056441, 3.6701781],
    [5, 0.63243162, 1.6183641, 0.53910251, 2.0554215, 0.47560006, 2.5378784, 0.42851026, 3.0797918],
    [6, 0.66112896, 1.5370176, 0.56968847, 1.9036149, 0.50665424, 2.2961983, 0.45943657, 2.7249265],
    [7, 0.68409215, 1.4787699, 0.59468617, 1.7972835, 0.53239576, 2.1306933, 0.48534685, 2.4872413],
    [8, 0.70300173, 1.4347052, 0.61563506, 1.7181694, 0.55422197, 2.0096348, 0.50751151, 2.3162677],
    [9, 0.71892146, 1.4000207, 0.63353556, 1.6567056, 0.57305801, 1.9168400, 0.52678394, 2.1869220],
    [10, 0.73256172, 1.3718890, 0.64907074, 1.6073799, 0.58954550, 1.8431801, 0.54376326, 2.0853367],
    [15, 0.77990319, 1.2840204, 0.70447762, 1.4563648, 0.64943134, 1.6222652, 0.60630021, 1.7866957],
    [20, 0.80880023, 1.2366690, 0.73950546, 1.3769115, 0.68818344, 1.5089042, 0.64749273, 1.6371275],
    [25, 0.82875336, 1.2062956, 0.76426407, 1.3266594, 0.71600248, 1.4382591, 0.67741624, 1.5452433],
    [30, 0.84358146, 1.1848197, 0.78298104, 1.2914644, 0.73727269, 1.3892761, 0.70049488, 1.4821494],
    [50, 0.87884623, 1.1370700, 0.82864541, 1.2142091, 0.79005074, 1.2832117, 0.75850934, 1.3473107],
    [100, 0.91452452, 1.0928795, 0.87661982, 1.1439339, 0.84688868, 1.1885056, 0.82218726, 1.2290449],
    [500, 0.96203010, 1.0393062, 0.94359100, 1.0602963, 0.92871811, 1.0780574, 0.91607092, 1.0937842],
  ];
  test.each(rows)('%s failures', (failures, ...factors) => {
    const found = levels.flatMap((confidence) => {
      const bounds = mtbfBounds(failures, failures, confidence);
      return [bounds?.lowMs ?? 0, bounds?.highMs ?? 0];
    });
    found.forEach((factor, nth) => {
      expect(Math.abs(factor / (factors[nth] ?? 0) - 1)).toBeLessThan(1e-7);
    });
  });

  // Its row for no failure multiplies the whole time, by a lower bound alone.
  test('no failure', () => {
    // biome-ignore lint/suspicious/noApproximativeNumericConstant: the printed digits are what is tested
    [0.62133493, 0.43429448, 0.3338082, 0.27108503].forEach((factor, nth) => {
      const bounds = mtbfBounds(1, 0, levels[nth]);
      expect(Math.abs((bounds?.lowMs ?? 0) / factor - 1)).toBeLessThan(1e-7);
      expect(bounds?.highMs).toBeNull();
    });
  });
});

// e-Handbook §8.4.5.1, T / −ln α; recomputed.
test('C2: no failure in 1000 h, one-sided at 60 %', () => {
  expect((mtbfBounds(1_000 * hour, 0, 0.2)?.lowMs ?? 0) / hour).toBeCloseTo(1_091.356667937, 6);
});

// Recomputed by the same formulas.
test('C12, C13: one outage in 30 days, and none', () => {
  const one = mtbfBounds(720 * hour, 1);
  expect((one?.lowMs ?? 0) / hour).toBeCloseTo(151.77499, 5);
  expect((one?.highMs ?? 0) / hour).toBeCloseTo(14_036.923, 3);
  expect((mtbfBounds(720 * hour, 0)?.lowMs ?? 0) / hour).toBeCloseTo(240.3419045, 7);
});

// ν = 2 has a closed form: −2 ln(1 − p).
test.each([1e-9, 0.01, 0.5, 0.99, 1 - 1e-9])('χ²(%d; 2) in closed form', (p) => {
  expect(chiSquareQuantile(p, 1) / (-2 * Math.log1p(-p))).toBeCloseTo(1, 6);
});

test('thousands of failures still have bounds that close in on the mean', () => {
  const bounds = mtbfBounds(8_760, 8_760);
  // The normal limit, 1 ± 1.645 / √r.
  expect(bounds?.lowMs).toBeCloseTo(1 - 1.6448536 / Math.sqrt(8_760), 3);
  expect(bounds?.highMs).toBeCloseTo(1 + 1.6448536 / Math.sqrt(8_760), 3);
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
