/**
 * The engine against plain models of what the port promises, over random histories: with restarts, and with times in
 * which nothing can be written.
 */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { type Span, states } from '../../src/base/values.ts';
import type { SpanEdit } from '../../src/judge/memory.ts';
import type { Notice, NoticeEdit, Record } from '../../src/record/record.ts';
import { memoryRecord } from '../support/record-memory.ts';
import { openEngine, temporaryFolder } from './support/sqlite.ts';
import { always, answered, changes, failed, memory, outage, pulse, t0 } from './support/values.ts';

const services = ['shop', 'nas', 'wiki'] as const;
const service = fc.constantFrom(...services);
const instant = fc.integer({ min: 0, max: 40 }).map((at) => t0 + at);

const edit: fc.Arbitrary<SpanEdit> = fc
  .record({ state: fc.constantFrom(...states), from: instant, back: fc.nat({ max: 5 }) })
  .map(({ state, from, back }) => ({ state, from, earliestFrom: from - back }));

/** Paints each edit from its instant to the end of time over what was there, and reads the colours off. */
function painted(edits: readonly SpanEdit[]): readonly Span[] {
  const first = Math.min(...edits.map(({ from }) => from));
  const end = t0 + 50;
  const colours: (SpanEdit | undefined)[] = Array.from({ length: end - first });
  for (const one of edits) {
    const place = one.from - first;
    const begun = colours[place]?.from === one.from ? colours[place] : undefined;
    const isNews = begun !== undefined && colours[place - 1]?.state !== begun.state;
    const earliestFrom = isNews ? Math.min(begun.earliestFrom, one.earliestFrom) : one.earliestFrom;
    colours.fill({ ...one, earliestFrom }, place);
  }
  const spans: { state: Span['state']; from: number; earliestFrom: number; to: number | null }[] =
    [];
  colours.forEach((colour, place) => {
    const last = spans.at(-1);
    if (!colour || last?.state === colour.state) return;
    if (last) last.to = first + place;
    spans.push({ ...colour, from: first + place, to: null });
  });
  return spans;
}

test('spans are without hole, overlap or equal neighbours, and as painted', async () => {
  const { folder, end } = temporaryFolder();
  const { record } = openEngine(folder);
  let run = 0;
  await fc.assert(
    fc.asyncProperty(
      fc.array(fc.array(edit, { minLength: 1, maxLength: 3 }), { minLength: 1, maxLength: 8 }),
      async (sets) => {
        const serviceId = `service-${run++}`;
        for (const edits of sets) await record.commit(changes({ spans: [{ serviceId, edits }] }));
        const spans = await record.spans(serviceId, always);
        spans.forEach((span, place) => {
          const next = spans[place + 1];
          expect(span.to).toBe(next?.from ?? null);
          expect(next?.from ?? Number.POSITIVE_INFINITY).toBeGreaterThan(span.from);
          expect(next?.state).not.toBe(span.state);
        });
        expect(spans).toEqual(painted(sets.flat()));
      },
    ),
    { numRuns: 60 },
  );
  await record.close(pulse(t0));
  end();
});

const quiet = [{ channel: 'phone', serviceIds: ['nas'], types: ['rollcall.digest'] }];

type Step = (record: Record) => Promise<unknown>;
type Disk = 'fails' | 'works';

const channels = fc.subarray(['phone', 'chat'], { minLength: 1 });
const noticeIds = Array.from({ length: 12 }, (_, place) => `n${place}`);
/** Those that are likely to be there. */
const noticeId = fc.constantFrom(...noticeIds.slice(0, 4));

/** Ids are given out when the history is laid out, so that each is added once. */
const noticeShape = fc.record({
  type: fc
    .constantFrom('down', 'up', 'degraded', 'unsteady', 'unsteady', 'steady')
    .map((type) => `rollcall.service.${type}`),
  at: instant,
  serviceId: fc.oneof(service, fc.constant(null)),
  outageId: fc.option(service.map((id) => `${id}.1`)),
  notBefore: instant,
  channels,
});

const unsteadyKnown = fc.constantFrom({}, { unsteadyKnown: true }, { unsteadyKnown: false });

const action = fc.oneof(
  fc.record({
    kind: fc.constant('observe' as const),
    serviceId: service,
    at: instant,
    good: fc.boolean(),
  }),
  fc.record({
    kind: fc.constant('change' as const),
    serviceId: service,
    edits: fc.array(edit, { maxLength: 2 }),
    begun: fc.option(instant),
    cause: fc.option(service),
  }),
  {
    weight: 3,
    arbitrary: fc.record({
      kind: fc.constant('add' as const),
      shape: noticeShape,
      known: unsteadyKnown,
      ifUnheard: fc.boolean(),
    }),
  },
  fc.record({
    kind: fc.constant('restore' as const),
    shape: noticeShape,
    known: unsteadyKnown,
    outageId: service.map((id) => `${id}.1`),
  }),
  fc.record({
    kind: fc.constant('fold' as const),
    serviceIds: fc.subarray([...services]),
    into: fc.oneof(noticeId, fc.record({ unsteady: service })),
  }),
  fc.record({
    kind: fc.constant('sum' as const),
    noticeIds: fc.subarray(noticeIds.slice(0, 6)),
    channel: fc.constantFrom('phone', 'chat'),
    at: instant,
  }),
  fc.record({
    kind: fc.constant('divert' as const),
    id: noticeId,
    way: fc.constantFrom(['phone', 'chat'] as const, ['chat', 'mail'] as const),
    at: instant,
  }),
  fc.record({
    kind: fc.constant('claim' as const),
    id: noticeId,
    channel: fc.constantFrom('phone', 'chat'),
    at: instant,
  }),
  {
    weight: 3,
    arbitrary: fc.record({
      kind: fc.constant('attempt' as const),
      id: noticeId,
      channel: fc.constantFrom('phone', 'chat'),
      at: instant,
      next: fc.oneof(
        fc.constantFrom({ state: 'delivered' as const }, { state: 'dead' as const }),
        instant.map((nextAttemptAt) => ({ state: 'waiting' as const, nextAttemptAt })),
      ),
    }),
  },
  fc.record({ kind: fc.constant('flush' as const), at: instant }),
  fc.record({ kind: fc.constant('disk' as const), disk: fc.constantFrom<Disk>('fails', 'works') }),
);
type Action = typeof action extends fc.Arbitrary<infer Value> ? Value : never;

/** The same step for any engine; null for what concerns the disk. */
function stepOf(one: Action, nextId: () => string | undefined): Step | null {
  const put =
    (edit: NoticeEdit): Step =>
    (record) =>
      record.commit(changes({ notices: [edit] }));
  const noticeOf = (shape: Omit<Notice, 'id' | 'data'>): Notice | null => {
    const id = nextId();
    return id === undefined ? null : { ...shape, id, data: { summary: `Notice ${id}.` } };
  };
  switch (one.kind) {
    case 'observe': {
      const observation = one.good ? answered(one.at) : failed(one.at);
      return (record) => record.observe({ serviceId: one.serviceId, observation });
    }
    case 'change': {
      const { serviceId, edits, begun, cause } = one;
      const set = changes({
        observations: [{ serviceId, observation: failed(t0) }],
        memories: [{ serviceId, memory: memory({ since: begun, outage: null }) }],
        spans: [{ serviceId, edits }],
        outages: begun === null ? [] : [outage(serviceId, begun, { causeId: cause })],
      });
      return (record) => record.commit(set);
    }
    case 'add': {
      const notice = noticeOf(one.shape);
      return notice && put({ kind: 'add', notice, ...one.known, ifUnheard: one.ifUnheard });
    }
    case 'restore': {
      const notice = noticeOf({ ...one.shape, outageId: one.outageId });
      return notice && put({ kind: 'restore', outageId: one.outageId, notice, ...one.known });
    }
    case 'fold':
      return put({ kind: 'fold', serviceIds: one.serviceIds, into: one.into });
    case 'sum': {
      const { noticeIds: ids, channel, at } = one;
      const shape = { type: 'rollcall.digest', at, serviceId: null, outageId: null, notBefore: at };
      const notice = noticeOf({ ...shape, channels: [channel] });
      return notice && put({ kind: 'sum', channel, noticeIds: ids, notice });
    }
    case 'divert': {
      const { id, at, way } = one;
      return put({ kind: 'divert', noticeId: id, from: way[0], to: way[1], at });
    }
    case 'claim':
      return (record) => record.claim(one.id, one.channel, one.at);
    case 'attempt': {
      const { id: noticeId, channel, at, next } = one;
      const attempt = { noticeId, channel, at, tookMs: 1, status: 200, detail: 'ok', next };
      return (record) => record.attempted(attempt);
    }
    case 'flush':
      return (record) => record.flush(pulse(one.at));
    case 'disk':
      return null;
  }
}

async function seenBy(record: Record) {
  const lists = services.map(async (id) => ({
    observations: await record.observations(id, always),
    newest: await record.observations(id, { from: t0 + 10, to: t0 + 30 }, 2),
    spans: await record.spans(id, { from: t0 + 10, to: t0 + 20 }),
    remembered: await record.remembered(id),
    outages: await record.outages(id, { from: t0 + 10, to: t0 + 20 }),
    deliveries: await record.deliveriesOf(`${id}.1`),
  }));
  return {
    services: await Promise.all(lists),
    outages: await record.outages(null, always),
    due: await record.dueDeliveries(t0 + 20, 4),
    dueAll: await record.dueDeliveries(t0 + 100, 100),
    nextAt: await record.nextDeliveryAt(),
    dueInQuiet: await record.dueDeliveries(t0 + 100, 100, quiet),
    nextInQuiet: await record.nextDeliveryAt(quiet),
    undelivered: await record.undelivered('phone', t0 + 20),
    one: await record.delivery('n0', 'mail'),
    dead: await record.deadLetters(3),
    pulse: await record.lastPulse(),
  };
}

test('whatever happens, with whatever disk, reads are those of a record in plain memory', async () => {
  await fc.assert(
    fc.asyncProperty(fc.array(action, { minLength: 1, maxLength: 40 }), async (actions) => {
      const { folder, end } = temporaryFolder();
      const engine = openEngine(folder);
      const model = memoryRecord();
      const ids = [...noticeIds];
      const settled = (record: Record, step: Step) =>
        step(record).then(
          (value) => value,
          () => undefined,
        );
      for (const one of actions) {
        if (one.kind === 'disk') {
          engine.database.pragma(`query_only = ${one.disk === 'fails' ? 'ON' : 'OFF'}`);
          continue;
        }
        const step = stepOf(one, () => ids.shift());
        if (!step) continue;
        // A commit that must wait is rejected; what it does is the same. Else the answers are equal.
        const [answer, expected] = [await settled(engine.record, step), await settled(model, step)];
        expect(answer).toEqual(expected);
        const { pulse: _, ...seen } = await seenBy(engine.record);
        const { pulse: __, ...modelled } = await seenBy(model);
        expect(seen).toEqual(modelled);
      }
      engine.database.pragma('query_only = OFF');
      await engine.record.flush(pulse(t0 + 99));
      await model.flush(pulse(t0 + 99));
      expect(await seenBy(engine.record)).toEqual(await seenBy(model));
      await engine.record.close(pulse(t0 + 99));

      const again = openEngine(folder);
      expect(await seenBy(again.record)).toEqual(await seenBy(model));
      expect(again.database.pragma('integrity_check', { simple: true })).toBe('ok');
      expect(again.database.pragma('foreign_key_check')).toEqual([]);
      await again.record.close(pulse(t0));
      end();
    }),
    { numRuns: 40 },
  );
}, 60_000);
