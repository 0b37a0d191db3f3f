/**
 * Hyndman & Fan, The American Statistician 50 (1996) 361–365: definitions 1 and 7.
 * Figures: R 4.6.0 `quantile(type=)`, NumPy and exact fractions, which agree.
 */
import { describe, expect, test } from 'vitest';
import { nearestRank, quantile } from '../../src/uptime/quantiles.ts';

const ten = [12, 15, 17, 20, 22, 25, 31, 47, 88, 250];
const five = [15, 20, 35, 40, 50];

describe('F1: ten numbers', () => {
  test.each([
    [0.25, 17, 17.75],
    [0.5, 22, 23.5],
    [0.75, 47, 43],
    [0.9, 88, 104.2],
    [0.95, 250, 177.1],
    [0.99, 250, 235.42],
  ])('at %d', (p, type1, type7) => {
    expect(nearestRank(ten, p)).toBe(type1);
    expect(quantile(ten, p)).toBeCloseTo(type7, 10);
  });
});

describe('F2: five numbers', () => {
  test.each([
    [0.05, 15, 16],
    [0.3, 20, 23],
    [0.4, 20, 29],
    [0.5, 35, 35],
    [0.95, 50, 48],
  ])('at %d', (p, type1, type7) => {
    expect(nearestRank(five, p)).toBe(type1);
    expect(quantile(five, p)).toBeCloseTo(type7, 10);
  });
});

test('0.07 of a hundred numbers is the seventh, though 0.07 × 100 is more than 7 in binary fractions', () => {
  const hundred = Array.from({ length: 100 }, (_, index) => index + 1);
  expect(0.07 * 100).toBeGreaterThan(7);
  expect(nearestRank(hundred, 0.07)).toBe(7);
});
