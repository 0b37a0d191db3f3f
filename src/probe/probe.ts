/** What a probe is: one exchange, one observation. It never throws for an expected failure and always ends. */
import type { Clock } from '../base/clock.ts';
import type { Observation } from '../base/values.ts';

export interface ProbeContext {
  readonly clock: Clock;
  /** One limit over the whole exchange, all phases and reads together. */
  readonly timeoutMs: number;
  /** Aborted when the daemon stops; the probe then ends at once with whatever outcome. */
  readonly signal: AbortSignal;
}

export type Ask<Settings> = (settings: Settings, context: ProbeContext) => Promise<Observation>;
