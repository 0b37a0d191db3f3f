/** Memory after a restart: what was stored, brought up to the newest observation in the record. */
import type { Observation } from '../base/values.ts';
import { blank } from './judge.ts';
import type { Memory } from './memory.ts';

/**
 * Routine observations do not store memory; the newest one gives back what moved on since.
 * Other settings than those remembered prove nothing about these: they have never been answered.
 */
export function resumed(
  stored: Memory | null,
  last: Observation | null,
  fingerprint: string,
): Memory {
  const memory = stored ?? blank(fingerprint);
  const known = memory.fingerprint === fingerprint;
  const base = known ? memory : { ...memory, fingerprint, everAnswered: false };
  if (!last || base.lastAt === null || last.at <= base.lastAt) return base;
  const served = last.outcome === 'answered' || last.outcome === 'limited';
  return {
    ...base,
    lastAt: last.at,
    lastGoodAt: served ? last.at : base.lastGoodAt,
    outage:
      base.outage && base.state === 'down' && !served
        ? { ...base.outage, lastFailedAt: last.at }
        : base.outage,
  };
}
