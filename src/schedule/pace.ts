/** How often a service is asked at present: less often while each visit costs its owner. */
import type { Reason } from '../base/reasons.ts';
import type { Observation } from '../base/values.ts';

interface Pace {
  readonly everyMs: number;
  /** Factors on the interval after an answer with this reason. */
  readonly slower: { readonly [reason in Reason]?: number };
}

/** The interval after this answer. */
export function paced({ everyMs, slower }: Pace, last: Observation | undefined): number {
  const reason = last?.trouble?.reason;
  return everyMs * (reason === undefined ? 1 : (slower[reason] ?? 1));
}
