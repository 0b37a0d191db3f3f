/**
 * A stored memory on its way in: taken only when it has the shape that the judge knows. What was damaged, or written
 * under another shape, counts as no memory at all: the judge then begins anew with this service.
 */
import { reasons } from '../../base/reasons.ts';
import { type Outage, states, type Trouble } from '../../base/values.ts';
import type { Memory, Run } from '../../judge/memory.ts';
import { type Setback, type Steadiness, steady } from '../../judge/unsteady.ts';

type Check = (value: unknown) => boolean;
/** One check a field: a field that is added to the type and not here does not compile. */
type Shape<Value> = { readonly [name in keyof Value]-?: Check };

const text: Check = (value) => typeof value === 'string';
const flag: Check = (value) => typeof value === 'boolean';
const integer: Check = (value) => Number.isSafeInteger(value);
const number: Check = (value) => Number.isFinite(value);
const listOf =
  (check: Check): Check =>
  (value) =>
    Array.isArray(value) && value.every(check);
const orNull =
  (check: Check): Check =>
  (value) =>
    value === null || check(value);
const oneOf =
  (values: readonly unknown[]): Check =>
  (value) =>
    values.includes(value);

function shaped<Value>(shape: Shape<Value>): Check {
  const checks = Object.entries<Check>(shape);
  return (value) => {
    if (typeof value !== 'object' || value === null) return false;
    const fields = value as Readonly<{ [name: string]: unknown }>;
    return checks.every(([name, check]) => check(fields[name]));
  };
}

const run = orNull(shaped<Run>({ count: integer, firstAt: integer, lastAt: integer }));

const trouble = shaped<Trouble>({
  layer: text,
  reason: oneOf(reasons),
  detail: text,
  hint: text,
});

const outage = shaped<Outage>({
  id: text,
  serviceId: text,
  lastGoodAt: orNull(integer),
  firstFailedAt: integer,
  confirmedAt: integer,
  lastFailedAt: integer,
  restoredAt: orNull(integer),
  trouble,
  causeId: orNull(text),
});

const steadiness = shaped<Steadiness>({
  penalty: number,
  at: integer,
  unsteadySince: orNull(integer),
  setbacks: listOf(shaped<Setback>({ at: integer, to: oneOf(states) })),
});

const memory = shaped<Memory>({
  state: oneOf(states),
  since: orNull(integer),
  observed: orNull(oneOf(states)),
  unobservedBy: orNull(oneOf(['gap', 'gateway', 'silence'])),
  fingerprint: text,
  everAnswered: flag,
  lastAt: orNull(integer),
  dueInMs: orNull(integer),
  lastGoodAt: orNull(integer),
  failedRun: run,
  poorRun: run,
  unprovenRun: run,
  servedRun: run,
  goodRun: run,
  outage: orNull(outage),
  steadiness,
});

/** Null: this is no memory. */
export function memoryFrom(json: string): Memory | null {
  try {
    // A memory of the time before steadiness was kept has none: it was steady.
    const value: unknown = { steadiness: steady, ...JSON.parse(json) };
    return memory(value) ? (value as Memory) : null;
  } catch {
    return null;
  }
}
