/**
 * When it is told that a budget will not last: by the slow pair of windows (three days, and six hours, at the even rate),
 * weighted by time. Once per burning: it must have stopped for the short window before it is told again. What one outage
 * alone has used was told as that outage.
 */
import { availabilityOf } from './availability.ts';
import { allowedDownMs, type BurnWindow, burnRate, burnWindows } from './budget.ts';
import { evidenceOf, type History } from './evidence.ts';
import { intersect, totalMs, union } from './intervals.ts';
import { coursesOf } from './outages.ts';
import { estimated } from './timeline.ts';

/** The Site Reliability Workbook (2018), chapter 5, table 5-8: the pair that makes a ticket. */
export const slowWindow: BurnWindow = burnWindows.reduce((slowest, one) =>
  one.longMs > slowest.longMs ? one : slowest,
);

/** The period of an objective: 30 × 24 h. */
export const budgetPeriodMs = 30 * 24 * 3_600_000;

export interface Burning {
  /** Over the long and the short window; null where nothing was required. */
  readonly long: number | null;
  readonly short: number | null;
  /** Both reach the rate. */
  readonly isBurning: boolean;
  /** Outages that have used some of the budget within the long window. */
  readonly outagesCount: number;
}

/** `history`: of the long window up to `now` at least. */
export function slowBurningOf(history: History, objective: number): Burning {
  const { longMs, shortMs, rate } = slowWindow;
  const [long, short] = [longMs, shortMs].map((windowMs) =>
    burnRate(availabilityOf(upToNow(history, windowMs)), objective),
  );
  const isBurning = [long, short].every((found) => (found ?? 0) >= rate);
  return {
    long: long ?? null,
    short: short ?? null,
    isBurning,
    outagesCount: isBurning ? outagesWithin(upToNow(history, longMs)).length : 0,
  };
}

export interface BudgetUsed {
  /** Of the whole period. */
  readonly allowedMs: number;
  readonly usedMs: number;
  readonly outagesCount: number;
  /** When the first of them began; null: there was none. */
  readonly sinceAt: number | null;
}

/** `history`: of the whole period up to `now`. */
export function budgetUsed(history: History, objective: number): BudgetUsed {
  const window = upToNow(history, budgetPeriodMs);
  const { downMs } = availabilityOf(window);
  const began = outagesWithin(window);
  return {
    allowedMs: Math.round(allowedDownMs(budgetPeriodMs, objective)),
    usedMs: downMs,
    outagesCount: began.length,
    sinceAt: began[0] ?? null,
  };
}

/** What is remembered of one service's budget between two looks. */
export interface BurnMemory {
  /** It was told, and may not be told again before it stopped. */
  readonly isTold: boolean;
  /** Not burning since; null: it burns. */
  readonly quietSince: number | null;
}

export const unburnt: BurnMemory = { isTold: false, quietSince: null };

/** One look at a budget: what is remembered from now on, and whether it is to be told. */
export function burnStep(
  memory: BurnMemory,
  { isBurning, outagesCount }: Pick<Burning, 'isBurning' | 'outagesCount'>,
  now: number,
): { readonly memory: BurnMemory; readonly isDue: boolean } {
  if (isBurning) {
    const isDue = !memory.isTold && outagesCount > 1;
    return { memory: { isTold: memory.isTold || isDue, quietSince: null }, isDue };
  }
  if (!memory.isTold) return { memory: unburnt, isDue: false };
  // A clock that was set back begins the silence anew.
  const quietSince = Math.min(memory.quietSince ?? now, now);
  const isOver = now - quietSince >= slowWindow.shortMs;
  return { memory: isOver ? unburnt : { isTold: true, quietSince }, isDue: false };
}

function upToNow(history: History, windowMs: number): History {
  return { ...history, window: { from: history.now - windowMs, to: history.now } };
}

/** The beginnings of those with down time in the window, in order. */
function outagesWithin(history: History): readonly number[] {
  const evidence = evidenceOf(history);
  return coursesOf(evidence).flatMap(({ outage }) => {
    const down = evidence.stretches.filter((stretch) => stretch.outage === outage);
    const required = intersect(union(down.map(estimated)), evidence.required);
    return totalMs(required) > 0 ? [outage.firstFailedAt] : [];
  });
}
