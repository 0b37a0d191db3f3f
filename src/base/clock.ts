/**
 * The clock as a value. Two readings that are never mixed: wall for timestamps, monotonic for durations.
 * Suspend shows in the boot clock only, a step of the wall clock in neither monotonic nor boot clock.
 * `clock-real.ts` is the machine's; tests bring a simulated one.
 */

/** A pending call; `cancel` is harmless when it has happened already. */
export interface Alarm {
  cancel(): void;
}

export interface Clock {
  /** Milliseconds since the epoch, UTC, integer. May step either way. */
  wallMs(): number;
  /** Milliseconds from some start, with fractions; never goes back; stands still while the machine is suspended. */
  monotonicMs(): number;
  /** Milliseconds since this machine booted, suspend included; the monotonic reading where the system has none. */
  bootMs(): number;
  /** Calls `then` once, not before `delayMs` of monotonic time have passed, to the millisecond. */
  after(delayMs: number, then: () => void): Alarm;
}

/** Resolves after `delayMs` on this clock. */
export function pause(clock: Clock, delayMs: number): Promise<void> {
  return new Promise((resolve) => clock.after(delayMs, resolve));
}

/** Waits for `work`, but no longer than this. */
export async function within(clock: Clock, limitMs: number, work: Promise<unknown>): Promise<void> {
  let alarm: Alarm | undefined;
  const limit = new Promise<void>((resolve) => {
    alarm = clock.after(limitMs, resolve);
  });
  await Promise.race([work, limit]);
  alarm?.cancel();
}
