/** Where the simulated daemon keeps its record. */
import type { Clock } from '../../src/base/clock.ts';
import type { Pulse, Record } from '../../src/record/record.ts';

export interface Shelf {
  /** For one life of the daemon; the one before has closed its record, or was cut off. */
  open(clock: Clock): Promise<Record>;
  /** The process is gone: what it had not written yet is lost. */
  cutOff(): Promise<void>;
  /** Writes fail from now on; null: they work again. */
  breakWrites(trouble: string | null): void;
  end(): void;
}

export function pulseOf(clock: Clock): Pulse {
  return { wallMs: clock.wallMs(), bootMs: Math.round(clock.bootMs()), bootId: 'simulated' };
}
