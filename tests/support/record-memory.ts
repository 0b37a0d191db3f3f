/**
 * The Record port in plain memory, for tests that need a record and no database. Passes the same contract as the
 * engine. `breakWrites` puts it into the state of a record that cannot be written: what waits is seen by reads.
 */
import { type JobRun, runAt } from '../../src/base/jobs.ts';
import { tailsKeptCountMax } from '../../src/base/limits.ts';
import type {
  Observation,
  Outage,
  Outcome,
  Phases,
  PlannedWindow,
  Span,
  UnconfirmedFailure,
} from '../../src/base/values.ts';
import type { Memory, SpanEdit } from '../../src/judge/memory.ts';
import type {
  ChangeSet,
  Disturbance,
  FactsChange,
  Latencies,
  OwnerNote,
  Pulse,
  Range,
  Record,
} from '../../src/record/record.ts';
import { stepsOf } from '../../src/uptime/quantiles.ts';
import { type Sketch, sketchOf } from '../../src/uptime/sketch.ts';
import { memoryOutbox } from './outbox-memory.ts';

export interface MemoryRecord extends Record {
  /** From now on writes fail with this text for people; null: they work again. */
  breakWrites(trouble: string | null): void;
}

type Begun = SpanEdit;

export function memoryRecord(instanceId = '5c2f0f0e-1111-4111-8111-111111111111'): MemoryRecord {
  const observations = new Map<string, Observation[]>();
  const memories = new Map<string, Memory>();
  const begun = new Map<string, readonly Begun[]>();
  const outages = new Map<string, Outage>();
  const unconfirmed = new Map<string, UnconfirmedFailure>();
  const disturbances: Disturbance[] = [];
  const words = new Map<string, string>();
  const notes = new Map<string, readonly OwnerNote[]>();
  const planned = new Map<string, PlannedWindow>();
  const known = new Map<string, number>();
  const runs = new Map<string, JobRun>();
  const outbox = memoryOutbox((id) => (outages.get(id)?.restoredAt ?? null) !== null);
  let pulse: Pulse | null = null;
  let trouble: string | null = null;
  let waitingCount = 0;
  let revision = 0;
  let lastCommitAt: number | null = null;

  const written = (left: Pulse): void => {
    pulse = left;
    if (trouble !== null) return;
    waitingCount = 0;
    lastCommitAt = left.wallMs;
  };
  const keep = (serviceId: string, observation: Observation): void => {
    if (!isFit(observation)) return;
    const kept = observations.get(serviceId);
    if (kept) kept.push(observation);
    else observations.set(serviceId, [observation]);
    waitingCount++;
  };

  const within = (serviceId: string, range: Range): readonly Observation[] =>
    (observations.get(serviceId) ?? [])
      .filter(({ at }) => isWithin(at, range))
      .sort((one, other) => one.at - other.at);

  return {
    instanceId,
    observe: async ({ serviceId, observation }) => keep(serviceId, observation),
    commit: async (changes: ChangeSet) => {
      revision++;
      if (!isFit(changes.spans) || !isFit(changes.notices))
        throw new Error('A value is not whole.');
      for (const { serviceId, observation } of changes.observations) keep(serviceId, observation);
      for (const { serviceId, memory } of changes.memories) memories.set(serviceId, memory);
      for (const { serviceId, edits } of changes.spans) {
        begun.set(serviceId, edits.reduce(edited, begun.get(serviceId) ?? []));
      }
      for (const outage of changes.outages) outages.set(outage.id, outage);
      for (const failure of changes.unconfirmed) {
        unconfirmed.set(`${failure.serviceId} ${failure.firstFailedAt}`, failure);
      }
      for (const window of changes.planned ?? []) {
        if (window.to > window.from) planned.set(window.id, window);
        else planned.delete(window.id);
      }
      for (const { outageId, at } of changes.known ?? []) {
        known.set(outageId, known.get(outageId) ?? at);
      }
      for (const run of changes.runs ?? []) runs.set(`${run.jobId} ${run.id}`, run);
      for (const { name, words: kept } of changes.keeps ?? []) words.set(name, kept);
      changes.notices.forEach(outbox.apply);
      if (trouble !== null) throw new Error(`The record cannot be written: ${trouble}.`);
      waitingCount = 0;
    },
    flush: async (left) => written(left),
    disturbed: async (disturbance) => void disturbances.push(disturbance),
    note: async (outageId, note) =>
      void notes.set(outageId, [...(notes.get(outageId) ?? []), note]),
    keep: async (name, kept) => void words.set(name, kept),

    remembered: async (serviceId) => ({
      memory: memories.get(serviceId) ?? null,
      last: observations.get(serviceId)?.at(-1) ?? null,
    }),
    lastPulse: async () => pulse,
    spans: async (serviceId, { from, to }) =>
      (begun.get(serviceId) ?? [])
        .map((span, place, all): Span => ({ ...span, to: all[place + 1]?.from ?? null }))
        .filter((span) => span.from < to && (span.to === null || span.to > from)),
    observations: async (serviceId, range, countMax = Number.POSITIVE_INFINITY) => {
      const inOrder = within(serviceId, range);
      return inOrder.slice(Math.max(inOrder.length - countMax, 0));
    },
    steps: async (serviceId, range, stepMs) =>
      stepsOf({ observations: within(serviceId, range), ...range, stepMs }),
    factsChanges: async (serviceId, range, countMax) =>
      factsChangesOf(observations.get(serviceId) ?? [])
        .filter(({ at }) => isWithin(at, range))
        .reverse()
        .slice(0, countMax),
    latencies: async (serviceId, range) => latenciesOf(within(serviceId, range)),
    outages: async (serviceId, { from, to }, countMax = Number.POSITIVE_INFINITY) =>
      [...outages.values()]
        .filter((outage) => serviceId === null || outage.serviceId === serviceId)
        .filter(({ firstFailedAt, restoredAt }) => {
          return firstFailedAt < to && (restoredAt === null || restoredAt > from);
        })
        .sort((one, other) => {
          return other.firstFailedAt - one.firstFailedAt || (other.id > one.id ? 1 : -1);
        })
        .slice(0, countMax),
    outage: async (id) => outages.get(id) ?? null,
    unconfirmed: async (serviceId, { from, to }) =>
      [...unconfirmed.values()]
        .filter((failure) => failure.serviceId === serviceId)
        .filter(({ firstFailedAt, nextGoodAt }) => firstFailedAt < to && nextGoodAt > from)
        .sort((one, other) => one.firstFailedAt - other.firstFailedAt),
    disturbances: async (range) =>
      disturbances.filter(({ at }) => isWithin(at, range)).sort((one, other) => one.at - other.at),

    notes: async (outageId) => notes.get(outageId) ?? [],
    planned: async ({ from, to }) =>
      [...planned.values()]
        .filter((window) => window.from < to && window.to > from)
        .sort((one, other) => one.from - other.from || (one.id < other.id ? -1 : 1)),
    knownAt: async (outageId) => known.get(outageId) ?? null,
    kept: async (name) => words.get(name) ?? null,
    runs: async (jobId, range, countMax) =>
      withoutOldTails([...runs.values()].filter((run) => run.jobId === jobId))
        .filter((run) => isWithin(runAt(run), range))
        .slice(0, countMax),
    run: async (jobId, id) =>
      withoutOldTails([...runs.values()].filter((run) => run.jobId === jobId)).find(
        (run) => run.id === id,
      ) ?? null,

    ...outbox.port,
    // Nothing of it is on a disk: there is nothing to keep in order.
    upkeep: {
      seal: async () => ({ sealedDaysCount: 0 }),
      prune: async () => ({ prunedDaysCount: 0 }),
      verify: async () => ({ faults: [], sealedDaysCount: 0, observationsCount: 0, tookMs: 0 }),
      backup: async () => {
        throw new Error('A record in memory has no file to copy.');
      },
    },
    revision: () => revision,
    health: () => ({
      writable: trouble === null,
      trouble,
      queuedCount: waitingCount,
      droppedCount: 0,
      sizeBytes: 0,
      lastCommitAt,
      damage: null,
    }),
    close: async (left) => written(left),
    breakWrites: (why) => {
      trouble = why;
    },
  };
}

/** Newest first; those told first stand last where they are of one instant. */
function withoutOldTails(runs: readonly JobRun[]): readonly JobRun[] {
  let left = tailsKeptCountMax;
  return [...runs]
    .reverse()
    .sort((one, other) => runAt(other) - runAt(one))
    .map((run) => (run.tail === null || left-- > 0 ? run : { ...run, tail: null }));
}

/** In the order in which they came. */
function factsChangesOf(observations: readonly Observation[]): FactsChange[] {
  const told = observations.filter(({ facts }) => Object.keys(facts).length > 0);
  return told.flatMap(({ at, facts: after }, place): FactsChange[] => {
    const before = told[place - 1]?.facts ?? after;
    return JSON.stringify(before) === JSON.stringify(after) ? [] : [{ at, before, after }];
  });
}

function latenciesOf(observations: readonly Observation[]): Latencies {
  const countOf = (wanted: Outcome) =>
    observations.filter(({ outcome }) => outcome === wanted).length;
  const served = observations.filter(
    ({ outcome }) => outcome === 'answered' || outcome === 'limited',
  );
  const phases: { -readonly [phase in keyof Phases]?: Sketch } = {};
  for (const name of ['resolveUs', 'connectUs', 'secureUs', 'speakUs', 'answerUs'] as const) {
    const sketch = sketchOf(served.flatMap((observation) => observation.phases[name] ?? []));
    if (sketch.count > 0) phases[name] = sketch;
  }
  return {
    counts: {
      answered: countOf('answered'),
      limited: countOf('limited'),
      failed: countOf('failed'),
      unproven: countOf('unproven'),
    },
    tookUs: sketchOf(served.map(({ tookUs }) => tookUs)),
    phases,
  };
}

/** Ends what runs, drops what began later, goes on where the state is the same. */
function edited(spans: readonly Begun[], edit: SpanEdit): readonly Begun[] {
  const before = spans.filter(({ from }) => from < edit.from);
  if (before.at(-1)?.state === edit.state) return before;
  const begun = spans.find(({ from }) => from === edit.from);
  const earliestFrom = Math.min(begun?.earliestFrom ?? edit.from, edit.earliestFrom);
  return [...before, { ...edit, earliestFrom }];
}

function isWithin(at: number, { from, to }: Range): boolean {
  return at >= from && at < to;
}

/** Instants and latencies are integers; a database with strict tables takes nothing else. `data` is free. */
function isFit(value: unknown, name = ''): boolean {
  if (name === 'data') return true;
  if (typeof value === 'number') {
    return !/(^at|^from|At|Us|From|notBefore)$/.test(name) || Number.isSafeInteger(value);
  }
  if (typeof value !== 'object' || value === null) return true;
  return Object.entries(value).every(([key, inner]) => isFit(inner, key));
}
