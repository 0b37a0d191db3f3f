/**
 * The error budget of an objective: how much down time it allows, what is left of it, and how fast it is used up.
 * All of it is weighted by time, not by probes: at a probe every 30 s, two failed ones of an hour are more than the
 * fastest rate below, and need not be an outage.
 */
import type { Availability } from './availability.ts';

type Times = Pick<Availability, 'upMs' | 'degradedMs' | 'downMs'>;

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
export function burnRate(times: Times, objective: number): number | null {
  const allowedMs = allowedDownMs(requiredMsOf(times), objective);
  return allowedMs === 0 ? null : times.downMs / allowedMs;
}

export interface Budget {
  /** 0…1 */
  readonly objective: number;
  /** Down time that the whole period allows. */
  readonly allowedMs: number;
  readonly usedMs: number;
  /** Negative where more was used than allowed. */
  readonly leftMs: number;
  /** What is left if every outage lasted as long, and as short, as the answers allow. */
  readonly leftLowMs: number;
  readonly leftHighMs: number;
  /** Over the time that has passed. */
  readonly burnRate: number | null;
}

/**
 * The budget of a period of which `restMs` are still to come; they are taken for required time. Null where nothing was
 * required so far and nothing is to come.
 */
export function budgetOf(
  figures: Times & Pick<Availability, 'low' | 'high'>,
  objective: number,
  restMs = 0,
): Budget | null {
  const requiredMs = requiredMsOf(figures);
  if (requiredMs + restMs <= 0) return null;
  const allowedMs = Math.round(allowedDownMs(requiredMs + restMs, objective));
  const downMsAt = (share: number | null) => Math.round(requiredMs * (1 - (share ?? 1)));
  return {
    objective,
    allowedMs,
    usedMs: figures.downMs,
    leftMs: allowedMs - figures.downMs,
    leftLowMs: allowedMs - downMsAt(figures.low),
    leftHighMs: allowedMs - downMsAt(figures.high),
    burnRate: burnRate(figures, objective),
  };
}

/** A rate of burning that calls for somebody. */
export interface BurnWindow {
  readonly longMs: number;
  /** A twelfth of the long one: so soon after its reason the alarm is over. */
  readonly shortMs: number;
  readonly rate: number;
}

const hourMs = 3_600_000;

/**
 * For a budget over 30 days, the gravest first: 2 % of it in an hour, 5 % in six, 10 % in three days. The Site
 * Reliability Workbook (2018), chapter 5, table 5-8.
 */
export const burnWindows: readonly BurnWindow[] = [
  { longMs: hourMs, shortMs: hourMs / 12, rate: 14.4 },
  { longMs: 6 * hourMs, shortMs: hourMs / 2, rate: 6 },
  { longMs: 72 * hourMs, shortMs: 6 * hourMs, rate: 1 },
];

/**
 * The gravest of the windows whose rate is reached over both its lengths; null: none. `rateOver` gives the rate over so
 * much time up to now, null where nothing was required.
 */
export function burningOf(rateOver: (windowMs: number) => number | null): BurnWindow | null {
  const reached = burnWindows.find(({ longMs, shortMs, rate }) =>
    [longMs, shortMs].every((windowMs) => (rateOver(windowMs) ?? 0) >= rate),
  );
  return reached ?? null;
}

function requiredMsOf({ upMs, degradedMs, downMs }: Times): number {
  return upMs + degradedMs + downMs;
}
