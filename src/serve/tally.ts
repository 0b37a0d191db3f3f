/** What was counted of each service since this board began: the counters of the metrics, which only ever grow. */
import type { Clock } from '../base/clock.ts';
import type { Happenings } from '../base/happenings.ts';
import { type Outcome, outcomes, type State, states } from '../base/values.ts';

export interface Tally {
  readonly beganAt: number;
  of(serviceId: string): ServiceTally;
  /** Counts no more. */
  close(): void;
}

export interface ServiceTally {
  readonly outcomes: Readonly<Record<Outcome, number>>;
  /** Of the answers (answered or limited). */
  readonly answersCount: number;
  readonly answersUs: number;
  readonly outagesCount: number;
  /** How long it stood in each state, by the decisions as they fell. */
  readonly stateMs: Readonly<Record<State, number>>;
}

interface TallyGiven {
  readonly clock: Clock;
  readonly listen: Happenings['listen'] | undefined;
  readonly serviceIds: readonly string[];
  readonly stateOf: (serviceId: string) => State;
}

type Counting = {
  outcomes: Record<Outcome, number>;
  answersCount: number;
  answersUs: number;
  outagesCount: number;
  stateMs: Record<State, number>;
  /** Since when, monotonic, it stands as it stands. */
  state: State;
  sinceMs: number;
};

export function tallyOf({ clock, listen, serviceIds, stateOf }: TallyGiven): Tally {
  const counts = new Map(serviceIds.map((id) => [id, begun(stateOf(id), clock.monotonicMs())]));
  const stop = listen?.(({ serviceId, observation, change }) => {
    const counting = counts.get(serviceId);
    if (!counting) return;
    counting.outcomes[observation.outcome]++;
    if (observation.outcome === 'answered' || observation.outcome === 'limited') {
      counting.answersCount++;
      counting.answersUs += observation.tookUs;
    }
    if (!change) return;
    if (change.to === 'down') counting.outagesCount++;
    settle(counting, change.to, clock.monotonicMs());
  });
  return {
    beganAt: clock.wallMs(),
    of: (serviceId) => {
      const counting = counts.get(serviceId);
      if (!counting) throw new Error(`no service ${serviceId}`);
      settle(counting, counting.state, clock.monotonicMs());
      return counting;
    },
    close: () => stop?.(),
  };
}

function begun(state: State, nowMs: number): Counting {
  return {
    outcomes: zeros(outcomes),
    answersCount: 0,
    answersUs: 0,
    outagesCount: 0,
    stateMs: zeros(states),
    state,
    sinceMs: nowMs,
  };
}

function settle(counting: Counting, next: State, nowMs: number): void {
  counting.stateMs[counting.state] += nowMs - counting.sinceMs;
  counting.state = next;
  counting.sinceMs = nowMs;
}

function zeros<Key extends string>(keys: readonly Key[]): Record<Key, number> {
  return Object.fromEntries(keys.map((key) => [key, 0])) as Record<Key, number>;
}
