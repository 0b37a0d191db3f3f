/** What a probe is: one exchange, one observation. It never throws for an expected failure and always ends. */
import type { Clock } from '../base/clock.ts';
import type { Observation } from '../base/values.ts';

/** Addresses of a host name, in the order to try them; rejects with an error that has getaddrinfo's code. */
export type Lookup = (host: string) => Promise<readonly string[]>;

export interface ProbeContext {
  readonly clock: Clock;
  /** One limit over the whole exchange, all phases and reads together. */
  readonly timeoutMs: number;
  /** Aborted when the daemon stops; the probe then ends at once with whatever outcome. */
  readonly signal: AbortSignal;
  /** In place of the system's resolver. */
  readonly lookup?: Lookup;
}

export type Ask<Settings> = (settings: Settings, context: ProbeContext) => Promise<Observation>;
