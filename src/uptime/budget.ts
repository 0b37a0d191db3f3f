/** The error budget of an objective: how much down time it allows, and how fast that is used up. */
import type { Availability } from './availability.ts';

/** Objectives are reckoned in millionths: `1 − 0.999` in binary fractions is a little more than a thousandth. */
const millionths = 1_000_000;

/**
 * Down time in milliseconds that an objective (0…1) allows in that much required time.
 * Beyer et al. (eds.), Site Reliability Engineering (2016), Appendix A.
 */
export function allowedDownMs(requiredMs: number, objective: number): number {
  return (requiredMs * (millionths - Math.round(objective * millionths))) / millionths;
}

/**
 * Share of required time that was down, over the share that the objective allows; 1 uses the budget up just as the
 * period ends, and over the whole period it is the share of the budget that is used. Null where nothing was required
 * or the objective allows nothing. Beyer et al. (eds.), The Site Reliability Workbook (2018), chapter 5.
 */
export function burnRate(
  { upMs, degradedMs, downMs }: Pick<Availability, 'upMs' | 'degradedMs' | 'downMs'>,
  objective: number,
): number | null {
  const allowedMs = allowedDownMs(upMs + degradedMs + downMs, objective);
  return allowedMs === 0 ? null : downMs / allowedMs;
}
