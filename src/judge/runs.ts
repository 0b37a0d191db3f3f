/** What one observation proves, and the runs that it lengthens or breaks. */
import type { Observation } from '../base/values.ts';
import type { Memory, Run } from './memory.ts';
import type { Policy, Sight } from './policy.ts';

/**
 * `good` answered; `poor` answered with reservations; `bad` not served;
 * `silent` decides nothing; `blind` would be bad, but we cannot see the service at all.
 */
export type Proof = 'good' | 'poor' | 'bad' | 'silent' | 'blind';

export function proofOf(
  observation: Observation,
  memory: Pick<Memory, 'everAnswered'>,
  policy: Policy,
  sight: Sight,
): Proof {
  switch (observation.outcome) {
    case 'answered':
      return 'good';
    case 'limited':
      return 'poor';
    case 'failed':
      return sight.gateways === 'gone' ? 'blind' : 'bad';
    case 'unproven':
      if (sight.gateways === 'gone') return 'blind';
      // It answered these very settings before: lasting silence is told as an inference.
      return memory.everAnswered && policy.unanswered === 'down' ? 'bad' : 'silent';
  }
}

type Runs = Pick<Memory, 'failedRun' | 'poorRun' | 'unprovenRun' | 'servedRun' | 'goodRun'>;

export const noRuns: Runs = {
  failedRun: null,
  poorRun: null,
  unprovenRun: null,
  servedRun: null,
  goodRun: null,
};

/**
 * Silence proves nothing: it neither lengthens nor breaks the runs of those that do. Where the gateway is found gone, what
 * was seen just before is explained by it, and counts no more.
 */
export function lengthened(runs: Runs, proof: Proof, at: number): Runs {
  const { failedRun, poorRun, unprovenRun, servedRun, goodRun } = runs;
  switch (proof) {
    case 'good':
      return { ...noRuns, servedRun: longer(servedRun, at), goodRun: longer(goodRun, at) };
    case 'poor':
      return { ...noRuns, poorRun: longer(poorRun, at), servedRun: longer(servedRun, at) };
    case 'bad':
      return { ...noRuns, failedRun: longer(failedRun, at), poorRun: longer(poorRun, at) };
    case 'silent':
      return { failedRun, poorRun, servedRun, goodRun, unprovenRun: longer(unprovenRun, at) };
    case 'blind':
      return noRuns;
  }
}

function longer(run: Run | null, at: number): Run {
  return run
    ? { count: run.count + 1, firstAt: run.firstAt, lastAt: at }
    : { count: 1, firstAt: at, lastAt: at };
}

export function reached(run: Run | null, count: number): run is Run {
  return run !== null && run.count >= count;
}
