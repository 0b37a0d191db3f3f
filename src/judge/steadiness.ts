/** Whether what was decided is a setback, and whether a service is unsteady after it: said with the change, or by itself. */
import type { Observation, Outage } from '../base/values.ts';
import type { Settled } from './enter.ts';
import type { Change, Memory, Unsteadiness, Verdict } from './memory.ts';
import type { Policy, Sight } from './policy.ts';
import { calmed, excused, type SetbackTo, type Steadiness, setBack, steady } from './unsteady.ts';

interface Given {
  readonly serviceId: string;
  readonly observation: Observation;
  readonly sight: Sight;
  readonly policy: Pick<Policy, 'unsteady'>;
  readonly before: Memory;
  readonly at: number;
}

/** The same, with what it means for the steadiness of the service. */
export function heeding(settled: Settled, given: Given): Settled {
  const { before } = given;
  const { memory, change } = settled;
  const steadiness = steadinessAfter(settled, given);
  const unsteadiness = unsteadinessOf(before.steadiness, steadiness);
  // What comes with every answer makes no new objects.
  if (steadiness === before.steadiness && (!unsteadiness || !change)) return settled;
  const after = { ...memory, steadiness };
  const isOver = unsteadiness?.phase === 'ended' && change === null;
  return {
    ...settled,
    memory: after,
    change: change && { ...change, unsteadiness },
    steadied: isOver ? stays(given, after, unsteadiness) : null,
  };
}

function steadinessAfter({ memory, change }: Settled, given: Given): Steadiness {
  const { before, at, policy } = given;
  // Each of its changes is to be told, however many there are.
  if (policy.unsteady === 'tell') return steady;
  const to = setbackIn(change, given);
  if (to) return setBack(before.steadiness, at, to);
  const isCalm = isKnown(memory) && !isMeantSo(memory, given);
  return isCalm ? calmed(before.steadiness, at) : before.steadiness;
}

/** A state that was proved. What nobody can see is not told to be steady. */
function isKnown({ state, unobservedBy }: Memory): boolean {
  return state !== 'unobserved' || unobservedBy === 'silence';
}

/** How it stands in planned time is told when that is over, and so is that it is steady again. */
function isMeantSo({ state }: Memory, { sight: { isPlanned = false } }: Given): boolean {
  return isPlanned && state !== 'up';
}

/** Null where it is none, or where something else than the service is to blame: also work that was planned. */
function setbackIn(change: Change | null, { before, sight }: Given): SetbackTo | null {
  if (!change?.told || change.to === 'up' || sight.isPlanned) return null;
  if (change.to === 'down') {
    return before.outage === null && change.outage?.causeId === null ? 'down' : null;
  }
  // Degraded at the end of an outage: that is better than it was.
  return sight.causeId === null && change.outage === null ? change.to : null;
}

function unsteadinessOf(before: Steadiness, after: Steadiness): Unsteadiness | null {
  const since = before.unsteadySince ?? after.unsteadySince;
  if (since === null) return null;
  const { setbacks } = after;
  if (after.unsteadySince === null) return { phase: 'ended', since, setbacks };
  return { phase: before.unsteadySince === null ? 'begins' : 'lasts', since, setbacks };
}

function stays(
  { serviceId, observation, at }: Pick<Given, 'serviceId' | 'observation' | 'at'>,
  { state, since, outage }: Memory,
  unsteadiness: Unsteadiness,
): Change {
  return {
    serviceId,
    from: state,
    to: state,
    since: since ?? at,
    decidedAt: at,
    observation,
    // Also where it went out of sight since: nothing has shown that it is over.
    outage,
    told: true,
    unsteadiness,
  };
}

/**
 * An outage that turns out to stand behind a cause was no setback. `steadied` where that alone had made it unsteady.
 * `last`: the observation that it was judged by last; none after a restart, and nothing is told then.
 */
export function behindCause(
  memory: Memory,
  outage: Outage,
  { last, at }: { readonly last: Observation | undefined; readonly at: number },
): Pick<Verdict, 'memory' | 'steadied'> {
  const before = memory.steadiness;
  const steadiness = excused(before, outage.confirmedAt, at);
  const after = { ...memory, outage, steadiness };
  const unsteadiness = unsteadinessOf(before, steadiness);
  const isOver = unsteadiness?.phase === 'ended' && last !== undefined;
  const { serviceId } = outage;
  return {
    memory: after,
    steadied: isOver ? stays({ serviceId, observation: last, at }, after, unsteadiness) : null,
  };
}
