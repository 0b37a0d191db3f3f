/**
 * How far a mean operating time between failures can be trusted when only a few failures were seen: confidence bounds
 * for a constant failure rate over a time that was fixed beforehand (NIST/SEMATECH e-Handbook §8.4.5.1).
 */

export interface MtbfBounds {
  /** With no failure the only bound there is: one-sided, at half the doubt. */
  readonly lowMs: number;
  /** Null without a failure. */
  readonly highMs: number | null;
}

/** Share of cases in which the truth lies within; half of the rest lies on either side. */
export const mtbfConfidence = 0.9;

/** Null where nothing was operated. */
export function mtbfBounds(
  operatingMs: number,
  failuresCount: number,
  confidence: number = mtbfConfidence,
): MtbfBounds | null {
  if (operatingMs <= 0) return null;
  const tail = (1 - confidence) / 2;
  return {
    lowMs: (2 * operatingMs) / chiSquareQuantile(1 - tail, failuresCount + 1),
    highMs: failuresCount === 0 ? null : (2 * operatingMs) / chiSquareQuantile(tail, failuresCount),
  };
}

/**
 * The value below which a χ² variable with 2·`pairs` degrees of freedom lies with probability `p`. An even number of
 * degrees makes the distribution a sum of Poisson terms; it is turned round by Newton's steps, and by halving where a
 * step would leave the bracket.
 */
export function chiSquareQuantile(p: number, pairs: number): number {
  let low = 0;
  let high = 2 * pairs + 40;
  while (chiSquareAt(high, pairs).share < p) high *= 2;
  let x = Math.min(2 * pairs, high);
  for (let steps = 0; steps < 100; steps += 1) {
    const { share, density } = chiSquareAt(x, pairs);
    if (share < p) low = x;
    else high = x;
    const step = x - (share - p) / density;
    const next = low < step && step < high ? step : (low + high) / 2;
    if (Math.abs(next - x) <= 2 * Number.EPSILON * x) return next;
    x = next;
  }
  return x;
}

/**
 * The share P(χ² ≤ x) = 1 − Σ e^(−x/2)·(x/2)^i / i!, i below `pairs`, and the density there, which is half the last of
 * the terms; in logarithms, since the terms alone overflow.
 */
function chiSquareAt(x: number, pairs: number): { share: number; density: number } {
  const half = x / 2;
  let logTerm = -half;
  let above = Math.exp(logTerm);
  for (let i = 1; i < pairs; i += 1) {
    logTerm += Math.log(half / i);
    above += Math.exp(logTerm);
  }
  return { share: 1 - above, density: Math.exp(logTerm) / 2 };
}
