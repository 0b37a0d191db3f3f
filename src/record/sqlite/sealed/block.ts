/**
 * A block: the observations of one service within a UTC day or a part of one, as columns. It keeps the instant (to 1 ms),
 * the outcome, the reason and the number of the facts exactly and the latency to 1 %; what failed stays whole.
 */
import type { Phases } from '../../../base/values.ts';
import { bucketOf, latencyOf } from '../../../uptime/sketch.ts';
import { outcomeNumbers, phaseNames } from '../stored.ts';

/** The greatest instant that a Date knows (ECMA-262, section 21.4.1.1). */
const atMax = 8.64e15;
export const outcomeMax = Math.max(...Object.values(outcomeNumbers));
export const factsMax = 0xffff_ffff;

/** An observation as the tail stores it: numbers for outcome and facts, the hint only where it is not the reason's own. */
export interface Row {
  readonly at: number;
  /** As in `outcomeNumbers`. */
  readonly outcome: number;
  readonly tookUs: number;
  readonly reason: string | null;
  readonly detail: string | null;
  readonly hint: string | null;
  /** Null: none. Numbers begin at 1. */
  readonly facts: number | null;
  readonly phases: Phases;
}

/** The n-th of each column belongs to the n-th row. */
export interface Columns {
  readonly count: number;
  /** Ascending; rows of the same instant stay in the order in which they came. */
  readonly at: Float64Array;
  readonly outcome: Uint8Array;
  /** The latency's bucket of `uptime/sketch.ts`. */
  readonly bucket: Uint16Array;
  /** 0: none; n: the n-th of `reasons`. */
  readonly reason: Uint32Array;
  /** In the order in which they first appear. */
  readonly reasons: readonly string[];
  /** 0: none. */
  readonly facts: Uint32Array;
  readonly failures: Failures;
}

/** What is kept of failed rows beside the columns: the n-th of each column belongs to the n-th failed row. */
export interface Failures {
  /** Its place in the columns of the block. */
  readonly row: Uint32Array;
  readonly tookUs: Float64Array;
  /** A column for each of `phaseNames`, in that order. −1: the phase did not happen. */
  readonly phases: readonly Float64Array[];
  /** Its place in `troubles`. */
  readonly trouble: Uint32Array;
  /** Each once, in the order in which they first appear. */
  readonly troubles: readonly TroubleText[];
}

export interface TroubleText {
  readonly detail: string | null;
  readonly hint: string | null;
}

/** Of rows in any order. Throws RangeError where a row holds what a block cannot. */
export function columnsOf(rows: readonly Row[]): Columns {
  const sorted = [...rows].sort((one, other) => one.at - other.at);
  const count = sorted.length;
  const at = new Float64Array(count);
  const outcome = new Uint8Array(count);
  const bucket = new Uint16Array(count);
  const reason = new Uint32Array(count);
  const facts = new Uint32Array(count);
  const reasons = dictionary((text: string) => text);
  sorted.forEach((row, place) => {
    check(row);
    at[place] = row.at;
    outcome[place] = row.outcome;
    bucket[place] = bucketOf(row.tookUs);
    reason[place] = row.reason === null ? 0 : 1 + reasons.placeOf(row.reason);
    facts[place] = row.facts ?? 0;
  });
  const failures = failuresOf(sorted);
  return { count, at, outcome, bucket, reason, reasons: reasons.values, facts, failures };
}

function check({ at, outcome, facts }: Row): void {
  const held =
    isWhole(at, atMax) && isWhole(outcome, outcomeMax) && isWhole((facts ?? 1) - 1, factsMax - 1);
  if (!held) throw new RangeError(`no block holds ${JSON.stringify({ at, outcome, facts })}`);
}

function isWhole(value: number, max: number): boolean {
  return Number.isInteger(value) && value >= 0 && value <= max;
}

/** All of them together, whether or not they overlap in time: the same as the columns of all their rows. */
export function merged(parts: readonly Columns[]): Columns {
  return columnsOf(parts.flatMap((part) => rowsOf(part)));
}

/**
 * The rows again, from place `first` up to `end`: a failed one as it was, the others with a latency that is within 1 % (not
 * a whole number) and without phases and texts.
 */
export function rowsOf(columns: Columns, first = 0, end = columns.count): Row[] {
  const { at, outcome, bucket, reason, reasons, facts, failures } = columns;
  let failure = failures.row.findIndex((row) => row >= first);
  const rows: Row[] = [];
  for (let row = Math.max(first, 0); row < Math.min(end, columns.count); row++) {
    const whole = failures.row[failure] === row;
    rows.push({
      at: at[row] ?? 0,
      outcome: outcome[row] ?? 0,
      reason: reasons[(reason[row] ?? 0) - 1] ?? null,
      facts: facts[row] || null,
      ...(whole ? wholeOf(failures, failure) : lessOf(bucket[row] ?? 0)),
    });
    if (whole) failure++;
  }
  return rows;
}

type Whole = Pick<Row, 'tookUs' | 'phases' | 'detail' | 'hint'>;

function lessOf(bucket: number): Whole {
  return { tookUs: latencyOf(bucket), phases: {}, detail: null, hint: null };
}

function wholeOf(failures: Failures, place: number): Whole {
  const phases: { -readonly [name in keyof Phases]: number } = {};
  phaseNames.forEach((name, nth) => {
    const tookUs = failures.phases[nth]?.[place] ?? -1;
    if (tookUs >= 0) phases[name] = tookUs;
  });
  const { detail, hint } = failures.troubles[failures.trouble[place] ?? 0] ?? noText;
  return { tookUs: failures.tookUs[place] ?? 0, phases, detail, hint };
}

const noText: TroubleText = { detail: null, hint: null };

function failuresOf(sorted: readonly Row[]): Failures {
  const places: number[] = [];
  sorted.forEach(({ outcome }, place) => {
    if (outcome === outcomeNumbers.failed) places.push(place);
  });
  const row = Uint32Array.from(places);
  const tookUs = new Float64Array(row.length);
  const phases = phaseNames.map(() => new Float64Array(row.length));
  const trouble = new Uint32Array(row.length);
  const troubles = dictionary(({ detail, hint }: TroubleText) => JSON.stringify([detail, hint]));
  row.forEach((place, nth) => {
    const failed = sorted[place];
    if (!failed) return;
    tookUs[nth] = failed.tookUs;
    phaseNames.forEach((name, phase) => {
      const column = phases[phase];
      if (column) column[nth] = failed.phases[name] ?? -1;
    });
    trouble[nth] = troubles.placeOf({ detail: failed.detail, hint: failed.hint });
  });
  return { row, tookUs, phases, trouble, troubles: troubles.values };
}

/** Gives each distinct value a place, in the order in which they come. */
function dictionary<Value>(keyOf: (value: Value) => string) {
  const places = new Map<string, number>();
  const values: Value[] = [];
  return {
    values: values as readonly Value[],
    placeOf: (value: Value): number => {
      const key = keyOf(value);
      const place = places.get(key) ?? values.length;
      if (place === values.length) {
        places.set(key, place);
        values.push(value);
      }
      return place;
    },
  };
}
