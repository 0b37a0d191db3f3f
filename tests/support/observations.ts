/** Observations as tests need them: an instant and an outcome, the rest plausible. */
import { meaningOf, type Reason } from '../../src/base/reasons.ts';
import type { Observation, Outcome } from '../../src/base/values.ts';

const reasonOf: { readonly [outcome in Outcome]: Reason | null } = {
  answered: null,
  limited: 'under-load',
  failed: 'refused',
  unproven: 'silent',
};

export function observation(at: number, outcome: Outcome): Observation {
  const reason = reasonOf[outcome];
  const trouble = reason && {
    layer: meaningOf(reason).layer,
    reason,
    detail: 'seen',
    hint: 'look there',
  };
  return { at, outcome, tookUs: 100, phases: {}, trouble, facts: {} };
}
