/** Numbers and orders that stand in the record's file; never to be given another meaning. */
import type { Outcome, Phases } from '../../base/values.ts';

export const outcomeNumbers = {
  answered: 0,
  limited: 1,
  failed: 2,
  unproven: 3,
} as const satisfies {
  [outcome in Outcome]: number;
};
export const outcomesByNumber = Object.keys(outcomeNumbers) as readonly Outcome[];

export const phaseNames = [
  'resolveUs',
  'connectUs',
  'secureUs',
  'speakUs',
  'answerUs',
] as const satisfies readonly (keyof Phases)[];
