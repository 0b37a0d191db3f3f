/** What the house makes known as it happens, for those who show it live. Nothing depends on anybody listening. */
import type { Observation, State } from './values.ts';

/** One answer of one service, judged. */
export interface Happening {
  readonly serviceId: string;
  readonly observation: Observation;
  /** The change that it decided; null: none. */
  readonly change: HappenedChange | null;
}

export interface HappenedChange {
  readonly from: State;
  readonly to: State;
  /** When the new state began; for `down` the first failure. */
  readonly since: number;
  readonly decidedAt: number;
  /** Id of the service whose outage explains this one. */
  readonly causeId: string | null;
  /** Of the outage that it opened or ended. */
  readonly outageId: string | null;
}

export type Hear = (happening: Happening) => void;

export interface Happenings {
  readonly tell: Hear;
  /** Gives what ends it. A listener that throws is a defect of its own: it keeps nobody else from hearing. */
  readonly listen: (hear: Hear) => () => void;
}

/** `onDefect` hears what a listener threw. */
export function happenings(onDefect: (thrown: unknown) => void): Happenings {
  const listeners = new Set<Hear>();
  return {
    tell: (happening) => {
      for (const hear of listeners) {
        try {
          hear(happening);
        } catch (thrown) {
          onDefect(thrown);
        }
      }
    },
    listen: (hear) => {
      listeners.add(hear);
      return () => void listeners.delete(hear);
    },
  };
}
