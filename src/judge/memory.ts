/** What the judge remembers of a service between two observations, and what it says after one. Plain, storable values. */
import type { Observation, Outage, Span, State, UnconfirmedFailure } from '../base/values.ts';
import type { Setback, Steadiness } from './unsteady.ts';

/** Observations of one sort in a row. */
export interface Run {
  readonly count: number;
  readonly firstAt: number;
  readonly lastAt: number;
}

/** Stored as JSON in the record, so that counters survive a restart. */
export interface Memory {
  readonly state: State;
  /** When the state began; null before the first observation. */
  readonly since: number | null;
  /** The last state that was observed: what unobserved time is compared with when it is over. */
  readonly observed: State | null;
  /** Why nobody knows: nobody looked, the gateway was gone, or nothing came back. Null in every other state. */
  readonly unobservedBy: 'gap' | 'gateway' | 'silence' | null;
  /** The settings that the memory is about; other settings prove nothing about these. */
  readonly fingerprint: string;
  /** Whether these settings have ever been answered: what makes later silence an inference. */
  readonly everAnswered: boolean;
  readonly lastAt: number | null;
  /** How long after that the next answer was due: a changed interval does not change what was missed. */
  readonly dueInMs: number | null;
  /** Last observation that was answered or limited. */
  readonly lastGoodAt: number | null;
  /** Not served: failed, or silent where that counts as failed. */
  readonly failedRun: Run | null;
  /** Not fully served: failed or limited. */
  readonly poorRun: Run | null;
  /** Silence that decides nothing. */
  readonly unprovenRun: Run | null;
  /** Answered or limited. */
  readonly servedRun: Run | null;
  /** Answered. */
  readonly goodRun: Run | null;
  /** The open outage. It stays open over unobserved time: silence is no proof of recovery. */
  readonly outage: Outage | null;
  /** Whether it changes too often. */
  readonly steadiness: Steadiness;
}

/**
 * Ends the running span at `from` (dropping what began later) and begins a new one. One that began at that very instant
 * gives way, and leaves its `earliestFrom` where that is earlier.
 */
export type SpanEdit = Pick<Span, 'state' | 'from' | 'earliestFrom'>;

/** What is to be known where single changes are held back. */
export interface Unsteadiness {
  /** With this change it becomes unsteady, it was so before and is, or it was and is no more. */
  readonly phase: 'begins' | 'lasts' | 'ended';
  readonly since: number;
  /** Its setbacks of late, in order of time. */
  readonly setbacks: readonly Setback[];
}

/** Something that may be told. */
export interface Change {
  readonly serviceId: string;
  readonly from: State;
  readonly to: State;
  /** When the new state began (for `down`: the first failure). */
  readonly since: number;
  /** When it was decided. */
  readonly decidedAt: number;
  readonly observation: Observation;
  /** The outage that this change opened or ended. */
  readonly outage: Outage | null;
  /** False where design wants silence: gaps, first good answers, what is seen through a failed gateway. */
  readonly told: boolean;
  /** Null: it is steady and was. */
  readonly unsteadiness: Unsteadiness | null;
}

export interface Verdict {
  readonly memory: Memory;
  /** True when only counters and instants moved on that the observations themselves give back: need not be stored. */
  readonly routine: boolean;
  readonly spans: readonly SpanEdit[];
  /** Opened, confirmed further, or ended. */
  readonly outage: Outage | null;
  readonly unconfirmed: UnconfirmedFailure | null;
  readonly change: Change | null;
  /** Where no other state is entered: that it is steady again, as a change from its state to the same. */
  readonly steadied: Change | null;
}
