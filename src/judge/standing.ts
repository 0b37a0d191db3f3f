/** How a service stands, for those who show it: what is remembered of it, and of those that it is bound up with. */
import type { Standing } from '../base/standing.ts';
import type { Observation } from '../base/values.ts';
import type { House } from './causes.ts';
import { pending } from './judge.ts';
import type { Memory } from './memory.ts';
import type { Policy } from './policy.ts';

export function standingFrom(
  {
    memory,
    last,
    policy,
    through,
  }: {
    readonly memory: Memory;
    readonly last: Observation | null;
    readonly policy: Policy;
    readonly through: readonly string[];
  },
  memoryOf: House['memoryOf'],
): Omit<Standing, 'pacedMs'> {
  const causeId = memory.outage?.causeId ?? null;
  return {
    state: memory.state,
    since: memory.since,
    suspect: pending(memory, policy),
    unsteady: memory.steadiness.unsteadySince !== null,
    causeId: causeId !== null && memoryOf(causeId)?.state === 'down' ? causeId : null,
    hiddenBy: memory.unobservedBy === 'gateway' ? firstGone(through, memoryOf) : null,
    outage: memory.outage,
    last,
  };
}

/** The first gateway that is down, or itself out of sight. */
function firstGone(through: readonly string[], memoryOf: House['memoryOf']): string | null {
  const gone = through.find((id) => {
    const gateway = memoryOf(id);
    return gateway?.state === 'down' || gateway?.unobservedBy === 'gateway';
  });
  return gone ?? null;
}
