/** What asking at intervals can miss, and how long it takes to notice what it does not miss. */

/** How a service is asked. */
export interface Asking {
  /** From the start of one probe to the start of the next. */
  readonly everyMs: number;
  /** Failures in a row that make an outage. */
  readonly confirm: number;
  /** From a failed probe to the next one while the service is suspect, start to start. */
  readonly recheckMs: number;
  /** The longest that a probe takes to fail. */
  readonly timeoutMs: number;
}

/**
 * From a failure to its confirmation, when the failure may fall anywhere between two probes with equal chance, and the
 * last probe takes its whole timeout to fail (one that is refused at once saves that much).
 */
export function detectionDelayMs({ everyMs, confirm, recheckMs, timeoutMs }: Asking): {
  readonly min: number;
  readonly mean: number;
  readonly max: number;
} {
  const min = (confirm - 1) * recheckMs + timeoutMs;
  return { min, mean: min + everyMs / 2, max: min + everyMs };
}

/**
 * The shortest outage that cannot be missed: however the probes fall, so many as confirm it begin and end within it.
 * Shorter ones may leave no trace, or an unconfirmed failure.
 */
export function surelySeenMs(asking: Asking): number {
  return detectionDelayMs(asking).max;
}
