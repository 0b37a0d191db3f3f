/**
 * The pulse: a reading of both clocks, compared with the one before. What the two disagree about
 * is why time went unwatched: a suspend, a stalled process, a step of the wall clock.
 */
import type { Clock } from '../base/clock.ts';

export interface Beat {
  readonly wallMs: number;
  readonly monotonicMs: number;
  readonly bootMs: number;
}

export interface Irregularity {
  readonly kind: 'suspended' | 'clock-stepped' | 'stalled';
  /** Length, or size of the step (negative: back). */
  readonly byMs: number;
}

/** Smaller differences are drift, rounding and busy moments. */
const toleranceMs = 2_000;

export function beat(clock: Clock): Beat {
  return { wallMs: clock.wallMs(), monotonicMs: clock.monotonicMs(), bootMs: clock.bootMs() };
}

/** What happened between two beats that were meant to lie `expectedMs` apart. */
export function irregularities(
  before: Beat,
  now: Beat,
  expectedMs: number,
): readonly Irregularity[] {
  const monotonicMs = now.monotonicMs - before.monotonicMs;
  const bootMs = now.bootMs - before.bootMs;
  const wallMs = now.wallMs - before.wallMs;
  const found: Irregularity[] = [];
  const suspendedMs = Math.round(bootMs - monotonicMs);
  if (suspendedMs > toleranceMs) found.push({ kind: 'suspended', byMs: suspendedMs });
  const stalledMs = Math.round(monotonicMs - expectedMs);
  if (stalledMs > toleranceMs) found.push({ kind: 'stalled', byMs: stalledMs });
  const steppedMs = Math.round(wallMs - bootMs);
  if (Math.abs(steppedMs) > toleranceMs) found.push({ kind: 'clock-stepped', byMs: steppedMs });
  return found;
}
