/** What a probe is: one exchange, one observation. It never throws for an expected failure and always ends. */
import type { Clock } from '../base/clock.ts';
import type { Observation } from '../base/values.ts';

/** Addresses of a host name, in the order to try them; rejects with an error that has getaddrinfo's code. */
export type Lookup = (host: string) => Promise<readonly string[]>;

/**
 * A few words that a probe must still know after a restart. A value written is there for the next read at once; that it
 * outlives the process may wait for the record's next group. Keys name no secret, and neither do values.
 */
export interface ProbeKeep {
  /** Null: nothing was kept under this key. */
  read(key: string): Promise<string | null>;
  write(key: string, value: string): Promise<void>;
}

export interface ProbeContext {
  readonly clock: Clock;
  /** One limit over the whole exchange, all phases and reads together. */
  readonly timeoutMs: number;
  /** Aborted when the daemon stops; the probe then ends at once with whatever outcome. */
  readonly signal: AbortSignal;
  readonly keep: ProbeKeep;
  /** In place of the system's resolver. */
  readonly lookup?: Lookup;
}

export type Ask<Settings> = (settings: Settings, context: ProbeContext) => Promise<Observation>;
