/** A trouble in three columns. Its layer follows from the reason; its hint is stored where it is not the reason's own. */
import { meaningOf, type Reason, reasons } from '../../base/reasons.ts';
import type { Trouble } from '../../base/values.ts';

const knownReasons: ReadonlySet<string> = new Set(reasons);

export type TroubleColumns = readonly [reason: string, detail: string, hint: string | null];

export function troubleColumns({ reason, detail, hint }: Trouble): TroubleColumns {
  return [reason, detail, hint === meaningOf(reason).hint ? null : hint];
}

/** A reason that only a later version knew reads as a broken answer; the detail still says what was seen. */
export function troubleFrom(stored: string, detail: string, hint: string | null): Trouble {
  const reason: Reason = knownReasons.has(stored) ? (stored as Reason) : 'malformed';
  const meaning = meaningOf(reason);
  return { layer: meaning.layer, reason, detail, hint: hint ?? meaning.hint };
}
