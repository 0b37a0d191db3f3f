/** One answer for programs: an observation of a service, flat, as `check --json` and the daemon's socket give it. */
import { instantText } from './instants.ts';
import type { Facts, Observation, Outcome } from './values.ts';

export interface Answer {
  readonly id: string;
  readonly name: string;
  readonly where: string;
  /** RFC 3339, UTC. */
  readonly at: string;
  readonly outcome: Outcome;
  readonly tookUs: number;
  readonly layer: string | null;
  readonly reason: string | null;
  readonly detail: string | null;
  readonly hint: string | null;
  readonly facts: Facts;
}

export function answerOf(
  service: { readonly id: string; readonly name: string; readonly where: string },
  observation: Observation,
): Answer {
  const { at, outcome, tookUs, trouble, facts } = observation;
  return {
    id: service.id,
    name: service.name,
    where: service.where,
    at: instantText(at),
    outcome,
    tookUs,
    layer: trouble?.layer ?? null,
    reason: trouble?.reason ?? null,
    detail: trouble?.detail ?? null,
    hint: trouble?.hint ?? null,
    facts,
  };
}
