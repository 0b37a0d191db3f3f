/**
 * The table of cases: from a state, by what was proved, to which state. Null is "stay".
 * `tests/judge/table.test.ts` spells out every one. Between two up states the edge of a span is taken
 * as certain: availability does not depend on it.
 */
import type { State } from '../base/values.ts';
import type { Memory, Run } from './memory.ts';
import type { Policy, Sight } from './policy.ts';
import { type Proof, reached } from './runs.ts';

export interface Step {
  readonly to: State;
  readonly from: number;
  readonly earliestFrom: number;
  readonly by: Memory['unobservedBy'];
}

export interface Situation {
  readonly before: Memory;
  readonly moved: Memory;
  readonly proof: Proof;
  readonly at: number;
  readonly policy: Policy;
  readonly sight: Sight;
}

/** The table: the state to enter, or null to stay. */
export function next(situation: Situation): Step | null {
  switch (situation.proof) {
    case 'good':
    case 'poor':
      return afterServed(situation);
    case 'bad':
      return afterBad(situation);
    case 'silent':
      return afterSilence(situation);
    case 'blind': {
      const { before, at } = situation;
      if (before.state === 'unobserved') return null;
      // What failed just before the gateway was found gone failed because of it.
      const from = before.state === 'down' ? at : (before.failedRun?.firstAt ?? at);
      return { to: 'unobserved', from, earliestFrom: from, by: 'gateway' };
    }
  }
}

function afterServed({ before, moved, proof, at, policy }: Situation): Step | null {
  const { servedRun, goodRun, poorRun } = moved;
  if (before.outage) {
    if (!reached(servedRun, policy.restore)) return null;
    const to = proof === 'good' && reached(goodRun, policy.restore) ? 'up' : 'degraded';
    const from = servedRun.firstAt;
    return { to, from, earliestFrom: edge(before, before.outage.lastFailedAt, from), by: null };
  }
  if (before.state === 'unobserved') {
    // One answer proves that it serves; being degraded needs confirmation, unless it was so before.
    const to = proof === 'poor' && stillPoor(before, poorRun, policy) ? 'degraded' : 'up';
    return { to, from: at, earliestFrom: at, by: null };
  }
  if (before.state === 'up' && reached(poorRun, policy.confirm)) return poorer(before, poorRun);
  if (before.state === 'degraded' && reached(goodRun, policy.restore)) {
    const from = goodRun.firstAt;
    return { to: 'up', from, earliestFrom: from, by: null };
  }
  return null;
}

function stillPoor(before: Memory, poorRun: Run | null, policy: Policy): boolean {
  return before.observed === 'degraded' || reached(poorRun, policy.confirm);
}

function afterBad({ before, moved, at, policy, sight }: Situation): Step | null {
  if (before.state === 'down') return null;
  if (sight.gateways === 'unsure') return null;
  // An outage that unobserved time interrupted goes on: nothing showed that it had ended.
  if (before.outage) return { to: 'down', from: at, earliestFrom: at, by: null };
  if (reached(moved.failedRun, policy.confirm)) {
    const from = moved.failedRun.firstAt;
    return { to: 'down', from, earliestFrom: edge(before, before.lastGoodAt, from), by: null };
  }
  if (before.state === 'up' && reached(moved.poorRun, policy.confirm)) {
    return poorer(before, moved.poorRun);
  }
  return null;
}

/** A failure may begin the run that makes it degraded; but being degraded is being up, which no failure proves. */
function poorer(before: Memory, poorRun: Run): Step {
  const from = Math.max(poorRun.firstAt, before.since ?? poorRun.firstAt);
  return { to: 'degraded', from, earliestFrom: from, by: null };
}

function afterSilence({ before, moved, policy }: Situation): Step | null {
  if (before.state === 'unobserved' || !reached(moved.unprovenRun, policy.confirm)) return null;
  const from = moved.unprovenRun.firstAt;
  return { to: 'unobserved', from, earliestFrom: from, by: 'silence' };
}

/** The last instant that still showed the state before; an edge beside unobserved time is certain. */
function edge(before: Memory, lastShownAt: number | null | undefined, from: number): number {
  if (before.state === 'unobserved' || lastShownAt === null || lastShownAt === undefined)
    return from;
  return Math.min(Math.max(lastShownAt, before.since ?? from), from);
}
