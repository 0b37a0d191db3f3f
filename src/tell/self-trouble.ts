/** The notice that something is wrong with Rollcall itself. It is about no service and passes no filter: it is for all. */
import type { Notice } from '../record/record.ts';

export interface SelfTrouble {
  /** What it is about: `record`, `damage`, `backup`. */
  readonly about: string;
  /** A sentence or a few. */
  readonly summary: string;
}

export function selfTroubleNotice(
  { about, summary }: SelfTrouble,
  given: { readonly id: string; readonly at: number; readonly channels: readonly string[] },
): Notice {
  return {
    ...given,
    type: 'rollcall.self.trouble',
    serviceId: null,
    outageId: null,
    notBefore: given.at,
    data: { summary, about },
  };
}
