/**
 * Fernhill, the pottery studio, on a November morning: a board over a record in memory. A service's past is given as a
 * few stretches; observations, spans and outages are made of them as the judge would have.
 */
import type { FastifyInstance } from 'fastify';
import { CountedMap } from '../../src/base/counted-map.ts';
import { outageId } from '../../src/base/ids.ts';
import type { Lateness } from '../../src/base/lateness.ts';
import { silentLog } from '../../src/base/log.ts';
import type { Standing } from '../../src/base/standing.ts';
import type {
  Observation,
  Outage,
  ServiceCard,
  State,
  Trouble,
  UnconfirmedFailure,
} from '../../src/base/values.ts';
import type { SpanEdit } from '../../src/judge/memory.ts';
import type { BoardOptions, SelfReport } from '../../src/serve/board.ts';
import { createBoard } from '../../src/serve/server.ts';
import type { TellState } from '../../src/tell/state.ts';
import { type SimulatedClock, simulatedClock } from '../support/clock-simulated.ts';
import { type MemoryRecord, memoryRecord } from '../support/record-memory.ts';

/** 2026-11-25T09:42:10Z; Dublin keeps GMT in winter. */
export const now = Date.parse('2026-11-25T09:42:10.000Z');
export const minuteMs = 60_000;
export const hourMs = 60 * minuteMs;
export const dayMs = 24 * hourMs;

export interface Stretch {
  readonly state: State;
  /** How long before now it began. */
  readonly agoMs: number;
  readonly trouble?: Trouble;
  readonly cause?: string;
}

export interface Member extends Partial<ServiceCard> {
  readonly id: string;
  readonly name: string;
  readonly past: readonly Stretch[];
  /** Typical latency. */
  readonly tookUs?: number;
  readonly facts?: Observation['facts'];
  readonly unsteady?: boolean;
  readonly suspect?: boolean;
  /** How long ago single failures were. */
  readonly missesAgoMs?: readonly number[];
}

export interface Scene {
  readonly app: FastifyInstance;
  readonly record: MemoryRecord;
  readonly clock: SimulatedClock;
  readonly standings: Map<string, Standing>;
  readonly options: BoardOptions;
}

export interface SceneOptions extends Partial<BoardOptions> {
  readonly tells?: TellState;
  readonly report?: Partial<SelfReport>;
  /** Whether every single answer of the last day is in the record. */
  readonly answers?: boolean;
}

export const refused: Trouble = {
  layer: 'port',
  reason: 'refused',
  detail: 'nothing listens on db.fernhill.home.arpa:5432',
  hint: 'Is the service started? Look at its container or unit and its log.',
};

export const silent: Trouble = {
  layer: 'port',
  reason: 'silent',
  detail: 'nothing came back from 192.0.2.20:51820, which this protocol allows',
  hint: 'Silence decides nothing here: host off, packet dropped, or keys that do not match.',
};

export const slow: Trouble = {
  layer: 'answer',
  reason: 'slow',
  detail: 'it answered after 2.4 s, which is more than 800 ms',
  hint: 'Look at the load, memory and disk of its host.',
};

/** What a person reads, tags taken out. */
export const words = (html: string) =>
  html
    .replace(/<(head|svg)\b.*?<\/\1>/gs, ' ')
    .replace(/<\/?(bdi|em|del|ins)\b[^>]*>/g, '')
    .replace(/<[^>]+>/g, ' ')
    .replaceAll('&quot;', '"')
    .replace(/\s+/g, ' ');

/** A change set to put something into. */
export const nothing = {
  observations: [],
  memories: [],
  spans: [],
  outages: [],
  unconfirmed: [],
  notices: [],
};

export async function sceneOf(members: readonly Member[], more: SceneOptions = {}): Promise<Scene> {
  const { tells, report, answers = true, ...options } = more;
  const clock = simulatedClock({ wallMs: now });
  const record = memoryRecord();
  const cards = members.map(cardOf);
  const standings = new CountedMap<string, Standing>();
  for (const member of members) {
    standings.set(member.id, await keep(record, member, answers));
  }
  const board: BoardOptions = {
    record,
    cards,
    standingOf: (id) => {
      const standing = standings.get(id);
      if (!standing) throw new Error(`no service ${id}`);
      return standing;
    },
    revision: () => standings.revision,
    askingOf: (id) => ({
      everyMs: cards.find((card) => card.id === id)?.everyMs ?? 60_000,
      confirm: 2,
      recheckMs: 5_000,
      timeoutMs: 5_000,
    }),
    board: {
      title: 'Fernhill Pottery',
      timezone: 'Europe/Dublin',
      listen: { host: '127.0.0.1', port: 7655 },
    },
    clock,
    log: silentLog,
    version: '0.1.0',
    self: () => ({ startedAt: now - 3 * dayMs, troubles: [], lateness: () => inTime, ...report }),
    telling: () => tells ?? { channels: [], deadLetters: [] },
    hostnames: ['fernhill'],
    ...options,
  };
  await record.flush({ wallMs: now - 12_000, bootMs: 0, bootId: '' });
  return { app: await createBoard(board), record, clock, standings, options: board };
}

const inTime: Lateness = {
  startsCount: 14_400,
  p50Ms: 0.5,
  p99Ms: 1.3,
  maxMs: 12,
  skippedCount: 0,
};

export const neverAsked: Standing = {
  state: 'unobserved',
  since: null,
  suspect: false,
  unsteady: false,
  causeId: null,
  hiddenBy: null,
  outage: null,
  last: null,
  pacedMs: 30_000,
};

function cardOf(member: Member): ServiceCard {
  const { past: _past, tookUs: _took, facts: _facts, missesAgoMs: _misses, ...rest } = member;
  const { unsteady: _unsteady, suspect: _suspect, ...card } = rest;
  return {
    group: null,
    kind: 'tcp',
    where: '192.0.2.10:80',
    open: null,
    note: null,
    needs: [],
    through: [],
    objective: null,
    everyMs: 60_000,
    ...card,
  };
}

async function keep(record: MemoryRecord, member: Member, answers: boolean): Promise<Standing> {
  const everyMs = cardOf(member).everyMs;
  const outages = member.past.flatMap((stretch, index) =>
    outageOf(member, stretch, index, everyMs),
  );
  const unconfirmed = (member.missesAgoMs ?? []).map((agoMs): UnconfirmedFailure => {
    const at = now - agoMs;
    const [lastGoodAt, nextGoodAt] = [at - everyMs, at + 5_000];
    return { serviceId: member.id, lastGoodAt, firstFailedAt: at, lastFailedAt: at, nextGoodAt };
  });
  const all = observationsOf(member, everyMs);
  const kept = answers ? all : all.slice(-1);
  await record.commit({
    observations: kept.map((observation) => ({ serviceId: member.id, observation })),
    memories: [],
    spans: [
      { serviceId: member.id, edits: member.past.map((stretch) => editOf(stretch, everyMs)) },
    ],
    outages,
    unconfirmed,
    notices: [],
  });
  const current = member.past.at(-1);
  if (!current) return neverAsked;
  const open = outages.at(-1);
  return {
    state: current.state,
    since: now - current.agoMs,
    suspect: member.suspect ?? false,
    unsteady: member.unsteady ?? false,
    causeId: current.cause ?? null,
    hiddenBy: null,
    outage: open && open.restoredAt === null ? open : null,
    last: all.at(-1) ?? null,
    pacedMs: everyMs,
  };
}

function editOf({ state, agoMs }: Stretch, everyMs: number): SpanEdit {
  const from = now - agoMs;
  return { state, from, earliestFrom: state === 'unobserved' ? from : from - everyMs };
}

function outageOf(member: Member, stretch: Stretch, index: number, everyMs: number): Outage[] {
  if (stretch.state !== 'down') return [];
  const firstFailedAt = now - stretch.agoMs;
  const next = member.past[index + 1];
  const restoredAt = next ? now - next.agoMs : null;
  return [
    {
      id: outageId(member.id, firstFailedAt),
      serviceId: member.id,
      lastGoodAt: firstFailedAt - everyMs,
      firstFailedAt,
      confirmedAt: firstFailedAt + 5_000,
      lastFailedAt: restoredAt === null ? now - 10_000 : restoredAt - 5_000,
      restoredAt,
      trouble: stretch.trouble ?? refused,
      causeId: stretch.cause ?? null,
    },
  ];
}

/** Of the last day, an interval apart, with latencies that wander like real ones and are the same every time. */
function observationsOf(member: Member, everyMs: number): Observation[] {
  const made: Observation[] = [];
  let noise = 1;
  for (let at = now - 10_000 - Math.floor(dayMs / everyMs) * everyMs; at <= now; at += everyMs) {
    noise = (noise * 48_271) % 2_147_483_647;
    const stretch = member.past.findLast(({ agoMs }) => now - agoMs <= at);
    if (!stretch) continue;
    const observation = answerOf(member, stretch, at, noise / 2_147_483_647);
    if (observation) made.push(observation);
  }
  return made;
}

function answerOf(
  member: Member,
  { state, trouble }: Stretch,
  at: number,
  noise: number,
): Observation | null {
  const swing = 1 + 0.35 * Math.sin(at / (3 * hourMs)) + 0.15 * Math.sin(at / (17 * minuteMs));
  const typicalUs = (member.tookUs ?? 8_000) * swing * (0.8 + noise * noise * 0.9);
  const answered = { at, tookUs: Math.round(typicalUs), facts: member.facts ?? {} };
  switch (state) {
    case 'up':
      return { ...answered, outcome: 'answered', phases: phasesOf(answered.tookUs), trouble: null };
    case 'degraded': {
      const tookUs = answered.tookUs * 6;
      return {
        ...answered,
        tookUs,
        outcome: 'limited',
        phases: phasesOf(tookUs),
        trouble: trouble ?? slow,
      };
    }
    case 'down':
      return {
        at,
        tookUs: 412,
        outcome: 'failed',
        phases: { connectUs: 400 },
        trouble: trouble ?? refused,
        facts: {},
      };
    case 'unobserved':
      // Without a trouble nobody looked.
      return trouble
        ? { at, tookUs: 5_000_000, outcome: 'unproven', phases: {}, trouble, facts: {} }
        : null;
  }
}

function phasesOf(tookUs: number): Observation['phases'] {
  return {
    resolveUs: Math.round(tookUs * 0.07),
    connectUs: Math.round(tookUs * 0.18),
    speakUs: Math.round(tookUs * 0.3),
    answerUs: Math.round(tookUs * 0.45),
  };
}
