/** How a service stands at this moment: what the judge holds of it, for those who show it. */
import type { Observation, Outage, State } from './values.ts';

export interface Standing {
  readonly state: State;
  /** Null: never asked so far. */
  readonly since: number | null;
  /** It failed, and is being asked again; nothing is decided. */
  readonly suspect: boolean;
  /** It changes so often that single notices are held back. */
  readonly unsteady: boolean;
  /** Id of the service whose outage explains this one's. */
  readonly causeId: string | null;
  /** Id of the gateway that is gone, so that nobody can see the service. */
  readonly hiddenBy: string | null;
  readonly outage: Outage | null;
  readonly last: Observation | null;
  /** How often it is asked at present: less often than configured while each visit costs its owner. */
  readonly pacedMs: number;
}
