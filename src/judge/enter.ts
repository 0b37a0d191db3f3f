/** What follows when a state is entered, or kept: memory, spans, the outage, and whether anybody is told. */
import { outageId } from '../base/ids.ts';
import type { Observation, Outage, Trouble } from '../base/values.ts';
import type { Change, Memory, SpanEdit, Verdict } from './memory.ts';
import type { Sight } from './policy.ts';
import { noRuns } from './runs.ts';
import type { Step } from './table.ts';

interface Given {
  readonly serviceId: string;
  readonly observation: Observation;
  readonly sight: Sight;
}

export type Settled = Pick<Verdict, 'memory' | 'spans' | 'outage' | 'change' | 'steadied'>;

/** No other state; but the very first observation begins the record of the service all the same. */
export function stayed(moved: Memory, before: Memory, at: number): Settled {
  if (before.since !== null) {
    return { memory: moved, spans: [], outage: null, change: null, steadied: null };
  }
  return {
    memory: { ...moved, since: at },
    spans: [{ state: 'unobserved', from: at, earliestFrom: at }],
    outage: null,
    change: null,
    steadied: null,
  };
}

export function entered(
  given: Given,
  before: Memory,
  moved: Memory,
  step: Step & { at: number },
): Settled {
  const outage = outageAfter(given, before, moved, step);
  const memory: Memory = {
    ...moved,
    ...(step.to === 'unobserved' ? noRuns : {}),
    state: step.to,
    since: step.from,
    observed: step.to === 'unobserved' ? before.observed : step.to,
    unobservedBy: step.by,
    outage: outage?.restoredAt === null ? outage : step.to === 'unobserved' ? moved.outage : null,
  };
  const span: SpanEdit = { state: step.to, from: step.from, earliestFrom: step.earliestFrom };
  const change: Change = {
    serviceId: given.serviceId,
    from: before.state,
    to: step.to,
    since: step.from,
    decidedAt: step.at,
    observation: given.observation,
    outage,
    told: isTold(before, step, outage),
    unsteadiness: null,
  };
  return { memory, spans: [span], outage, change, steadied: null };
}

/** The outage that this step opens, resumes or ends; null when it has nothing to do with one. */
function outageAfter(
  given: Given,
  before: Memory,
  moved: Memory,
  step: Step & { at: number },
): Outage | null {
  if (step.to === 'unobserved') return null;
  if (step.to !== 'down') return before.outage && { ...before.outage, restoredAt: step.from };
  if (moved.outage) return goingOn(moved.outage, given.sight);
  return {
    id: outageId(given.serviceId, step.from),
    serviceId: given.serviceId,
    lastGoodAt: before.lastGoodAt,
    firstFailedAt: step.from,
    confirmedAt: step.at,
    lastFailedAt: step.at,
    restoredAt: null,
    trouble: troubleOf(given.observation),
    causeId: given.sight.causeId,
  };
}

/** One that stood behind a cause goes on behind what explains it now, if anything does. */
function goingOn(outage: Outage, { causeId }: Sight): Outage {
  return outage.causeId === null ? outage : { ...outage, causeId };
}

function troubleOf(observation: Observation): Trouble {
  if (observation.trouble) return observation.trouble;
  throw new Error(`an observation that is ${observation.outcome} cannot open an outage`);
}

/** Silence is right for gaps, for a service first seen up, and for what lies behind a failed gateway (design §6). */
function isTold(before: Memory, step: Step, outage: Outage | null): boolean {
  if (step.to === 'unobserved') return step.by === 'silence';
  if (step.to === 'down') return before.outage === null || isNewsAgain(before, outage);
  if (before.outage !== null) return true;
  if (before.state !== 'unobserved' || before.unobservedBy === 'silence') return true;
  return step.to === 'degraded' ? before.observed !== 'degraded' : before.observed === 'degraded';
}

/**
 * An outage that goes on is news where the last word was that nobody knows, or that it would end with its cause, which
 * ended while nobody looked.
 */
function isNewsAgain({ outage, unobservedBy }: Memory, after: Outage | null): boolean {
  const isAlone = outage !== null && outage.causeId !== null && after?.causeId === null;
  return unobservedBy === 'silence' || isAlone;
}
