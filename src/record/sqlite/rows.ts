/** A row of the tail on its way out: from SQL to a value, and from there to an observation. */
import type { Facts, Observation, Phases } from '../../base/values.ts';
import type { Row } from './sealed/block.ts';
import { outcomesByNumber, phaseNames } from './stored.ts';
import { troubleFrom } from './troubles.ts';

/** Of tables that keep whole observations. */
export const rowColumns = `at_ms AS at, outcome, took_us AS tookUs, facts, resolve_us AS resolveUs,
  connect_us AS connectUs, secure_us AS secureUs, speak_us AS speakUs, answer_us AS answerUs,
  reason, detail, hint`;

/** What `rowColumns` select. */
export type FlatRow = Omit<Row, 'phases'> & {
  readonly [phase in keyof Phases]-?: number | null;
};

export function rowFrom(flat: FlatRow): Row {
  const { at, outcome, tookUs, facts, reason, detail, hint } = flat;
  const phases: { -readonly [name in keyof Phases]: number } = {};
  for (const name of phaseNames) {
    const phaseUs = flat[name];
    if (phaseUs !== null) phases[name] = phaseUs;
  }
  return { at, outcome, tookUs, facts, reason, detail, hint, phases };
}

export function observationFrom(row: Row, factsOf: (number: number | null) => Facts): Observation {
  const { at, reason, detail, hint, phases } = row;
  const outcome = outcomesByNumber[row.outcome];
  if (outcome === undefined) throw new Error(`The record has an unknown outcome: ${row.outcome}.`);
  return {
    at,
    outcome,
    tookUs: Math.round(row.tookUs),
    phases,
    trouble: reason === null ? null : troubleFrom(reason, detail, hint),
    facts: factsOf(row.facts),
  };
}
