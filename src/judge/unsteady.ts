/**
 * Unsteadiness: every setback adds to a penalty that decays by half over a set time. Above one value the service is
 * unsteady and its single changes are held back; below a lower one it is steady again.
 * RFC 2439 (Route Flap Damping, 1998), section 4; cutoff, reuse and ceiling are those of its example.
 */
import type { State } from '../base/values.ts';

/** A change for the worse that a service has only itself to blame for. */
export type SetbackTo = Exclude<State, 'up'>;

export interface Setback {
  readonly at: number;
  readonly to: SetbackTo;
}

/**
 * What each adds: the beginning of an outage one, and what leaves it serving, or only takes it out of sight, half of that
 * (RFC 7196, table 1: 1000 for a withdrawal, 500 for a change of attributes).
 */
const penaltyOf: { readonly [state in SetbackTo]: number } = {
  down: 1,
  degraded: 0.5,
  unobserved: 0.5,
};
/** Above this a service becomes unsteady. */
export const cutoff = 1.5;
/** Below this it is steady again. */
export const reuse = 0.75;
/** No penalty grows beyond this: so it is steady at most log₂(4.5 ÷ 0.75) ≈ 2.58 half-lives after its last setback. */
export const ceiling = 4.5;
/** Common defaults by RFC 7196, table 1. */
export const halfLifeMs = 15 * 60_000;
/** How far back setbacks are remembered, to say how many there were: after so long hardly anything is left of a penalty. */
export const latelyMs = 4 * halfLifeMs;
/** No more of them than this; the newest. */
export const setbacksCountMax = 12;

export interface Steadiness {
  /** As it was at `at`. */
  readonly penalty: number;
  readonly at: number;
  /** Since when it has been unsteady; null: it is steady. */
  readonly unsteadySince: number | null;
  /** In order of time. */
  readonly setbacks: readonly Setback[];
}

export const steady: Steadiness = { penalty: 0, at: 0, unsteadySince: null, setbacks: [] };

/** The penalty as it is at a later instant; an earlier one changes nothing. */
export function decayed({ penalty, at }: Pick<Steadiness, 'penalty' | 'at'>, now: number): number {
  return penalty * 2 ** (-Math.max(now - at, 0) / halfLifeMs);
}

/** After a setback at `now`. Where the penalty had come down far enough before, only a new excess makes it unsteady. */
export function setBack(before: Steadiness, now: number, to: SetbackTo): Steadiness {
  const left = decayed(before, now);
  const penalty = Math.min(left + penaltyOf[to], ceiling);
  const lasting = left < reuse ? null : before.unsteadySince;
  const recent = before.setbacks.filter(({ at }) => now - at < latelyMs);
  return {
    penalty,
    at: now,
    unsteadySince: penalty > cutoff ? (before.unsteadySince ?? now) : lasting,
    setbacks: [...recent, { at: now, to }].slice(-setbacksCountMax),
  };
}

/** After an observation at `now` that was none. Unchanged (the same value) where nothing is to be kept. */
export function calmed(before: Steadiness, now: number): Steadiness {
  if (before.unsteadySince === null) return before;
  const penalty = decayed(before, now);
  return penalty < reuse ? { ...before, penalty, at: now, unsteadySince: null } : before;
}

/** The outage that began at `setbackAt` is explained by another service after all: as if it had been no setback. */
export function excused(before: Steadiness, setbackAt: number, now: number): Steadiness {
  const setback = before.setbacks.find(({ at }) => at === setbackAt);
  if (!setback) return before;
  const added = decayed({ penalty: penaltyOf[setback.to], at: setbackAt }, now);
  const { unsteadySince } = before;
  return {
    penalty: Math.max(decayed(before, now) - added, 0),
    at: now,
    unsteadySince: unsteadySince === setbackAt ? null : unsteadySince,
    setbacks: before.setbacks.filter((one) => one !== setback),
  };
}
