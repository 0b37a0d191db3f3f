/**
 * The judge: what one more observation means. One pure function over what it remembers:
 * first whether anybody looked since the last time, then what was proved (`runs.ts`), then which state
 * that makes (`table.ts`), and what follows for the record and for whoever is told (`enter.ts`).
 */
import type { Observation, UnconfirmedFailure } from '../base/values.ts';
import { entered, stayed } from './enter.ts';
import type { Memory, Verdict } from './memory.ts';
import { graceMs, type Policy, type Sight } from './policy.ts';
import { lengthened, noRuns, type Proof, proofOf } from './runs.ts';
import { heeding } from './steadiness.ts';
import { next } from './table.ts';
import { steady } from './unsteady.ts';

/** What is remembered of a service that was never asked. */
export function blank(fingerprint: string): Memory {
  return {
    state: 'unobserved',
    since: null,
    observed: null,
    unobservedBy: null,
    fingerprint,
    everAnswered: false,
    lastAt: null,
    dueInMs: null,
    lastGoodAt: null,
    ...noRuns,
    outage: null,
    steadiness: steady,
  };
}

export interface Case {
  readonly serviceId: string;
  readonly memory: Memory;
  readonly observation: Observation;
  /** The latest instant that was judged of any service; unless given, this one is alone. */
  readonly latestAt?: number;
  readonly policy: Policy;
  readonly sight: Sight;
}

/**
 * A wall clock that was set back must not make time run twice: what is judged lies after all that was, and until the
 * clock has caught up instants creep. `latestAt`, the latest instant judged of any service, keeps those of one house in
 * the order in which things happened.
 */
export function instantOf(
  { lastAt }: Pick<Memory, 'lastAt'>,
  observation: Observation,
  latestAt = 0,
): number {
  if (lastAt === null || observation.at > lastAt) return observation.at;
  return Math.max(lastAt + 1, latestAt);
}

export function judge(given: Case): Verdict {
  const { serviceId, observation, policy, sight } = given;
  const at = instantOf(given.memory, observation, given.latestAt);
  const gap = missed({ serviceId, memory: given.memory, policy, now: at });
  const before = gap?.memory ?? given.memory;

  const proof = proofOf(observation, before, policy, sight);
  const served = proof === 'good' || proof === 'poor';
  const runs = lengthened(before, proof, at);
  // One by one: to spread an object and then say some of it anew takes longer than all else here.
  const moved: Memory = {
    state: before.state,
    since: before.since,
    observed: before.observed,
    unobservedBy: isHidden(before, proof) ? 'gateway' : before.unobservedBy,
    fingerprint: before.fingerprint,
    everAnswered: before.everAnswered || served,
    lastAt: at,
    dueInMs: policy.everyMs,
    lastGoodAt: served ? at : before.lastGoodAt,
    failedRun: runs.failedRun,
    poorRun: runs.poorRun,
    unprovenRun: runs.unprovenRun,
    servedRun: runs.servedRun,
    goodRun: runs.goodRun,
    outage:
      before.outage && proof === 'bad' ? { ...before.outage, lastFailedAt: at } : before.outage,
    steadiness: before.steadiness,
  };
  const step = next({ before, moved, proof, at, policy, sight });
  const first =
    before.since === null ||
    before.everAnswered !== moved.everAnswered ||
    before.dueInMs !== moved.dueInMs;
  // The instant that was judged is later than the one observed: the observation alone would not give it back.
  const heldBack = at !== observation.at;
  const settled = heeding(
    step ? entered(given, before, moved, { ...step, at }) : stayed(moved, before, at),
    { serviceId, observation, sight, policy, before, at },
  );
  return {
    memory: settled.memory,
    routine: !(
      gap ||
      step ||
      unsettled(before) ||
      unsettled(moved) ||
      first ||
      heldBack ||
      settled.steadied
    ),
    spans: gap ? [...gap.spans, ...settled.spans] : settled.spans,
    outage: settled.outage,
    unconfirmed: gap?.unconfirmed ?? broken(serviceId, before, served, at),
    change: settled.change,
    steadied: settled.steadied,
  };
}

/** Nobody knew already; now it is known why. That silence was told is not forgotten. */
function isHidden({ state, unobservedBy }: Memory, proof: Proof): boolean {
  return proof === 'blind' && state === 'unobserved' && unobservedBy !== 'silence';
}

/**
 * Whether due times passed without an answer until `now`: that time is unobserved, from the first missed due instant.
 * Null when nothing was missed. Used on every observation, and when the daemon starts.
 */
export function missed(given: {
  serviceId: string;
  memory: Memory;
  policy: Policy;
  now: number;
}): Verdict | null {
  const { memory, policy, now, serviceId } = given;
  if (memory.lastAt === null || memory.since === null) return null;
  const dueInMs = memory.dueInMs ?? policy.everyMs;
  const dueAt = memory.lastAt + dueInMs;
  if (now - dueAt <= graceMs(dueInMs) + policy.timeoutMs) return null;
  const already = memory.state === 'unobserved';
  return {
    memory: {
      ...memory,
      ...noRuns,
      state: 'unobserved',
      unobservedBy: already ? memory.unobservedBy : 'gap',
      since: already ? memory.since : dueAt,
    },
    routine: false,
    spans: already ? [] : [{ state: 'unobserved', from: dueAt, earliestFrom: dueAt }],
    outage: null,
    // Failures before the gap stay unconfirmed; the gap, not an answer, ends them.
    unconfirmed: memory.outage ? null : unconfirmedOf(serviceId, memory, dueAt),
    change: null,
    steadied: null,
  };
}

/** A state is about to change, or failures are about to be: ask again soon rather than in its turn. */
export function pending(memory: Memory, policy: Policy): boolean {
  const { state, failedRun, poorRun, unprovenRun, servedRun, goodRun, outage } = memory;
  if (failedRun && state !== 'down') return true;
  if (poorRun && state === 'up') return true;
  if (unprovenRun && state !== 'unobserved') return true;
  if (outage && servedRun && servedRun.count < policy.restore) return true;
  return state === 'degraded' && goodRun !== null && goodRun.count < policy.restore;
}

/** Failures that ended before they were confirmed. */
function broken(
  serviceId: string,
  before: Memory,
  served: boolean,
  at: number,
): UnconfirmedFailure | null {
  return served && !before.outage ? unconfirmedOf(serviceId, before, at) : null;
}

function unconfirmedOf(
  serviceId: string,
  memory: Memory,
  nextGoodAt: number,
): UnconfirmedFailure | null {
  if (!memory.failedRun) return null;
  return {
    serviceId,
    lastGoodAt: memory.lastGoodAt,
    firstFailedAt: memory.failedRun.firstAt,
    lastFailedAt: memory.failedRun.lastAt,
    nextGoodAt,
  };
}

/** Counters that the observations alone do not give back after a restart. */
function unsettled(memory: Memory): boolean {
  switch (memory.state) {
    case 'up':
      return memory.failedRun !== null || memory.poorRun !== null || memory.unprovenRun !== null;
    case 'degraded':
      return memory.failedRun !== null || memory.goodRun !== null || memory.unprovenRun !== null;
    case 'down':
      return memory.servedRun !== null || memory.unprovenRun !== null;
    case 'unobserved':
      return memory.failedRun !== null || memory.poorRun !== null || memory.servedRun !== null;
  }
}
