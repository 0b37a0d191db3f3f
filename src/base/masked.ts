/** Takes what must not be shown out of an observation: a peer may repeat a secret that it was sent. */
import type { Observation } from './values.ts';

/** `mask` replaces secrets in a text. Facts that are numbers or truth values stay. */
export function maskedObservation(
  observation: Observation,
  mask: (text: string) => string,
): Observation {
  const { trouble, facts } = observation;
  // Nearly every answer: spared the copying, which would cost as much as the judging.
  if (trouble === null && !Object.values(facts).some((value) => typeof value === 'string')) {
    return observation;
  }
  return {
    ...observation,
    trouble: trouble && { ...trouble, detail: mask(trouble.detail), hint: mask(trouble.hint) },
    facts: Object.fromEntries(
      Object.entries(facts).map(([name, value]) => [
        name,
        typeof value === 'string' ? mask(value) : value,
      ]),
    ),
  };
}
