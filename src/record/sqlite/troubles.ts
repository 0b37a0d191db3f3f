/** A trouble in three columns. Its layer follows from the reason; its hint is stored where it is not the reason's own. */
import { meaningOf, type Reason, reasons } from '../../base/reasons.ts';
import type { Trouble } from '../../base/values.ts';

const knownReasons: ReadonlySet<string> = new Set(reasons);

export type TroubleColumns = readonly [reason: string, detail: string, hint: string | null];

export function troubleColumns({ reason, detail, hint }: Trouble): TroubleColumns {
  return [reason, detail, hint === meaningOf(reason).hint ? null : hint];
}

/**
 * A reason that only a later version knew reads as a broken answer; the detail still says what was seen. Where the
 * words were not kept (null) the reason's own stand in for them.
 */
export function troubleFrom(stored: string, detail: string | null, hint: string | null): Trouble {
  const reason: Reason = knownReasons.has(stored) ? (stored as Reason) : 'malformed';
  const { layer, sentence, hint: ownHint } = meaningOf(reason);
  return { layer, reason, detail: detail ?? sentence, hint: hint ?? ownHint };
}
