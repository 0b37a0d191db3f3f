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
 * degrees makes the distribution a sum of Poisson terms; it is turned round by halving.
 */
export function chiSquareQuantile(p: number, pairs: number): number {
  let low = 0;
  let high = 2 * pairs + 40;
  while (chiSquareShare(high, pairs) < p) high *= 2;
  for (let halvings = 0; halvings < 100; halvings++) {
    const middle = (low + high) / 2;
    if (chiSquareShare(middle, pairs) < p) low = middle;
    else high = middle;
  }
  return (low + high) / 2;
}

/** P(χ² ≤ x) = 1 − Σ e^(−x/2)·(x/2)^i / i!, i below `pairs`; in logarithms, since the terms alone overflow. */
function chiSquareShare(x: number, pairs: number): number {
  if (x === 0) return 0;
  const half = x / 2;
  let logTerm = -half;
  let above = Math.exp(logTerm);
  for (let i = 1; i < pairs; i++) {
    logTerm += Math.log(half / i);
    above += Math.exp(logTerm);
  }
  return 1 - above;
}
