/** What the owner decided about a service, and what the moment adds: the judge's other two inputs. */

export interface Policy {
  /** Failures in a row that make an outage; limited answers in a row that make `degraded`. */
  readonly confirm: number;
  /** Good answers in a row that end either. */
  readonly restore: number;
  /** What lasting silence means once these settings have been answered. */
  readonly unanswered: 'down' | 'unobserved';
  /** What becomes of the single changes of a service that changes too often; unless given, they are held back. */
  readonly unsteady?: 'hold' | 'tell';
  /** When the next answer is due after this one. */
  readonly everyMs: number;
  /** How long an exchange may take: it may end so late, and the next one begin after it. */
  readonly timeoutMs: number;
}

/** How we see the service at this moment. */
export interface Sight {
  /**
   * The gateways that we see it through: all there; one of them in doubt, so that nothing bad is decided yet;
   * or one gone, so that a failure proves nothing.
   */
  readonly gateways: 'clear' | 'unsure' | 'gone';
  /** Id of a needed service whose own outage explains a failure now. */
  readonly causeId: string | null;
  /** In planned time: what goes wrong then makes nothing unsteady. */
  readonly isPlanned?: boolean;
}

/**
 * How late an answer may be before the time since its due instant counts as unwatched:
 * half an interval, at least 2 s (a busy moment is no gap), at most 30 s (an hourly service is not forgiven half an hour).
 */
export function graceMs(everyMs: number): number {
  return Math.min(Math.max(everyMs / 2, 2_000), 30_000);
}
