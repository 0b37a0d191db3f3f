/**
 * The Record port in plain memory, for tests that need a record and no database. Passes the same contract as the
 * engine. `breakWrites` puts it into the state of a record that cannot be written: what waits is seen by reads.
 */
import { deliveryWaitMsMax } from '../../src/base/limits.ts';
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
  Attempt,
  ChangeSet,
  Delivery,
  DeliveryReport,
  Disturbance,
  FactsChange,
  Latencies,
  Notice,
  NoticeEdit,
  OwnerNote,
  Pulse,
  Range,
  Record,
} from '../../src/record/record.ts';
import { stepsOf } from '../../src/uptime/quantiles.ts';
import { type Sketch, sketchOf } from '../../src/uptime/sketch.ts';

export interface MemoryRecord extends Record {
  /** From now on writes fail with this text for people; null: they work again. */
  breakWrites(trouble: string | null): void;
}

type Begun = SpanEdit;
type Posted = {
  -readonly [name in keyof DeliveryReport]: DeliveryReport[name];
} & {
  claimed: boolean;
  nextAttemptAt: number;
};

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
  const outbox = memoryOutbox((id) => (outages.get(id)?.restoredAt ?? null) !== null);
  let pulse: Pulse | null = null;
  let trouble: string | null = null;
  let waitingCount = 0;
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

type OutboxPort = Pick<
  Record,
  'dueDeliveries' | 'nextDeliveryAt' | 'claim' | 'attempted' | 'deliveriesOf' | 'deadLetters'
>;

function memoryOutbox(isOver: (outageId: string) => boolean): {
  readonly apply: (edit: NoticeEdit) => void;
  readonly port: OutboxPort;
} {
  const posted: Posted[] = [];
  const find = (noticeId: string, channel: string): Posted | undefined =>
    posted.find((one) => one.notice.id === noticeId && one.channel === channel);
  const carrying = (noticeId: string): readonly string[] =>
    posted.filter(({ notice }) => notice.id === noticeId).map(({ channel }) => channel);
  const heads = (): readonly Posted[] => {
    const waiting = posted.filter(({ state }) => state === 'waiting');
    return waiting.filter((one) => waiting.find((other) => laneOf(other) === laneOf(one)) === one);
  };

  const add = (notice: Notice): void => {
    for (const channel of notice.channels) {
      posted.push({
        notice,
        channel,
        state: 'waiting',
        attempts: [],
        foldedInto: null,
        claimed: false,
        nextAttemptAt: notice.notBefore,
      });
    }
  };
  const fold = (serviceIds: readonly string[], into: string): void => {
    const channels = carrying(into);
    for (const one of posted) {
      const { id, type, serviceId, outageId } = one.notice;
      if (one.state !== 'waiting' || one.claimed || id === into) continue;
      if (!/^rollcall\.service\.(down|degraded)$/.test(type)) continue;
      if (outageId !== null && isOver(outageId)) continue;
      if (!serviceIds.includes(serviceId ?? '') || !channels.includes(one.channel)) continue;
      one.state = 'folded';
      one.foldedInto = into;
    }
  };
  const restore = (outageId: string, notice: Notice): void => {
    const downs = posted.filter(({ notice: { outageId: id, type } }) => {
      return id === outageId && type === 'rollcall.service.down';
    });
    for (const one of downs) {
      if (one.state !== 'waiting' || one.claimed || one.notice.notBefore <= notice.at) continue;
      one.state = 'withdrawn';
    }
    const heard = downs
      .filter(({ state }) => state !== 'folded' && state !== 'withdrawn')
      .map(({ channel }) => channel);
    add({ ...notice, channels: notice.channels.filter((channel) => heard.includes(channel)) });
  };

  return {
    apply: (edit) => {
      if (edit.kind === 'add') add(edit.notice);
      else if (edit.kind === 'fold') fold(edit.serviceIds, edit.into);
      else restore(edit.outageId, edit.notice);
    },
    port: {
      dueDeliveries: async (now, countMax) =>
        heads()
          .filter(({ nextAttemptAt: at }) => at <= now || at > now + deliveryWaitMsMax)
          .sort((one, other) => one.nextAttemptAt - other.nextAttemptAt)
          .slice(0, countMax)
          .map(deliveryFrom),
      nextDeliveryAt: async () => {
        const instants = heads().map(({ nextAttemptAt }) => nextAttemptAt);
        return instants.length > 0 ? Math.min(...instants) : null;
      },
      claim: async (noticeId, channel) => {
        const one = find(noticeId, channel);
        if (one?.state !== 'waiting') return false;
        one.claimed = true;
        return true;
      },
      attempted: async ({ noticeId, channel, next, ...attempt }: Attempt) => {
        const one = find(noticeId, channel);
        if (!one) return;
        one.attempts = [...one.attempts, attempt];
        if (one.state !== 'waiting') return;
        one.state = next.state;
        if (next.state === 'waiting') one.nextAttemptAt = next.nextAttemptAt;
      },
      deliveriesOf: async (outageId) =>
        posted.filter(({ notice }) => notice.outageId === outageId).map(reportFrom),
      deadLetters: async (countMax) =>
        posted
          .filter(({ state }) => state === 'dead')
          .reverse()
          .slice(0, countMax)
          .map(reportFrom),
    },
  };
}

function laneOf({ channel, notice }: Posted): string {
  return `${channel} ${notice.outageId ?? notice.serviceId ?? notice.id}`;
}

function deliveryFrom({ notice, channel, attempts, nextAttemptAt }: Posted): Delivery {
  const firstAttemptAt = attempts[0]?.at ?? null;
  return { notice, channel, attempts: attempts.length, firstAttemptAt, nextAttemptAt };
}

function reportFrom({ notice, channel, state, attempts, foldedInto }: Posted): DeliveryReport {
  return { notice, channel, state, attempts, foldedInto };
}
