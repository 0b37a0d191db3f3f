/**
 * Unsteadiness: every beginning of an outage adds to a penalty that decays by half over a set time. Above one value the
 * service is unsteady and its single changes are held back; below a lower one it is steady again.
 * RFC 2439 (Route Flap Damping, 1998), section 4; the figures are those of its example.
 */

/** What one beginning of an outage adds. */
const penaltyEach = 1;
/** Above this a service becomes unsteady. */
export const cutoff = 1.5;
/** Below this it is steady again. */
export const reuse = 0.75;
/** No penalty grows beyond this: so it is steady at most log₂(4.5 ÷ 0.75) ≈ 2.58 half-lives after its last outage began. */
export const ceiling = 4.5;
/** Common defaults by RFC 7196, table 1. */
export const halfLifeMs = 15 * 60_000;

export interface Steadiness {
  /** As it was at `at`. */
  readonly penalty: number;
  readonly at: number;
  /** Since when it has been unsteady; null: it is steady. */
  readonly unsteadySince: number | null;
}

export const steady: Steadiness = { penalty: 0, at: 0, unsteadySince: null };

/** The penalty as it is at a later instant; an earlier one changes nothing. */
export function decayed({ penalty, at }: Steadiness, now: number): number {
  return penalty * 2 ** (-Math.max(now - at, 0) / halfLifeMs);
}

/** After an observation at `now`; `wentDown`: it began an outage. Unchanged (the same value) where nothing is to be kept. */
export function steadinessAfter(before: Steadiness, now: number, wentDown: boolean): Steadiness {
  const penalty = decayed(before, now);
  if (wentDown) {
    const grown = Math.min(penalty + penaltyEach, ceiling);
    const unsteadySince = before.unsteadySince ?? (grown > cutoff ? now : null);
    return { penalty: grown, at: now, unsteadySince };
  }
  if (before.unsteadySince !== null && penalty < reuse) {
    return { penalty, at: now, unsteadySince: null };
  }
  return before;
}
