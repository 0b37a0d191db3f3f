/** Whether one outage may be the reason of another. One rule for those who decide it and those who tell it. */
import { causeSlackMs } from './limits.ts';
import type { Outage } from './values.ts';

/**
 * What failed after the other was last seen good may have failed because of it. A little before counts too: what
 * depends on something often shows its trouble first, and each is asked at its own instants.
 */
export function explains(cause: Pick<Outage, 'lastGoodAt'>, failedAt: number): boolean {
  return cause.lastGoodAt === null || failedAt > cause.lastGoodAt - causeSlackMs;
}
