/** The news over simulated weeks: told once, over restarts too, and at their times on the clock of Dublin. */
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { type Happening, happenings } from '../src/base/happenings.ts';
import { silentLog } from '../src/base/log.ts';
import type { Facts, Observation, ServiceCard, State } from '../src/base/values.ts';
import { tellNews } from '../src/news.ts';
import type { NewsChannel } from '../src/news-post.ts';
import type { Notice } from '../src/record/record.ts';
import { type SimulatedClock, simulatedClock } from './support/clock-simulated.ts';
import { type MemoryRecord, memoryRecord } from './support/record-memory.ts';
import { card, outage, standing } from './support/telling.ts';

const minute = 60_000;
const hour = 60 * minute;
const day = 24 * hour;
/** A Monday. */
const begins = Date.parse('2026-10-12T09:00:00Z');
const asking = { everyMs: 60_000, confirm: 2, recheckMs: 5_000, timeoutMs: 5_000 };

let clock: SimulatedClock;
let record: MemoryRecord;
let running: { stop(): Promise<void> } | null;
let cards: readonly ServiceCard[];
let channels: readonly NewsChannel[];
let lasts: Map<string, Observation>;
let heard: ReturnType<typeof happenings>;
let notices: Notice[];
let woken: number;
let reads: string[];

beforeEach(() => {
  clock = simulatedClock({ wallMs: begins });
  record = memoryRecord();
  cards = [card('shop'), card('photos'), card('nas')];
  channels = [{ name: 'phone', only: null, digests: [] }];
  lasts = new Map();
  heard = happenings((thrown) => {
    throw thrown;
  });
  notices = [];
  woken = 0;
  reads = [];
  running = null;
});
afterEach(async () => {
  await running?.stop();
  expect(clock.pending()).toBe(0);
});

let ids = 0;
async function start(): Promise<void> {
  await running?.stop();
  running = tellNews({
    clock,
    record: {
      ...record,
      outages: (id, range, countMax) => {
        reads.push(`outages ${id}`);
        return record.outages(id, range, countMax);
      },
      commit: async (changes) => {
        for (const edit of changes.notices) if (edit.kind === 'add') notices.push(edit.notice);
        await record.commit(changes);
      },
    },
    log: silentLog,
    cards,
    channels,
    standingOf: (id) => ({ ...standing('up', null), last: lasts.get(id) ?? null }),
    askingOf: () => asking,
    listen: heard.listen,
    title: 'Fernhill Pottery',
    zone: 'Europe/Dublin',
    sayInstant: (at) => new Date(at).toISOString().slice(0, 10),
    newId: () => `notice-${++ids}`,
    wake: () => void woken++,
  });
}

function answer(id: string, facts: Facts, outcome: Observation['outcome'] = 'answered'): Happening {
  const observation: Observation = {
    at: clock.wallMs(),
    outcome,
    tookUs: 100,
    phases: {},
    trouble: null,
    facts,
  };
  lasts.set(id, observation);
  return { serviceId: id, observation, change: null };
}
const certificate = (endsAt: number, isNear = true): Facts => ({
  certificateEndsAt: new Date(endsAt).toISOString(),
  certificateIssuer: 'CN=Fernhill CA',
  ...(isNear && { certificateWarn: true }),
});
const summaries = () => notices.map(({ data }) => data.summary);
const at = () => new Date(clock.wallMs()).toISOString().slice(0, 16);

describe('certificates', () => {
  test('one that nears its end is told once, and once more three days before, over restarts', async () => {
    const endsAt = begins + 10 * day;
    answer('shop', certificate(endsAt));
    await start();
    const told: string[] = [];
    for (let hours = 0; hours < 12 * 24; hours += 6) {
      const before = notices.length;
      await clock.advance(6 * hour);
      if (notices.length > before) told.push(`${at()} ${summaries().at(-1)}`);
      if (hours % 24 === 0) await start();
    }
    expect(told).toEqual([
      '2026-10-12T15:00 The certificate of Shop ends in 9 days, on 2026-10-22.',
      '2026-10-19T15:00 The certificate of Shop ends in 2 days, on 2026-10-22, and no new one has been seen.',
    ]);
    expect(woken).toBe(2);
  });

  test('a renewed one begins anew, and one that is not near is nothing', async () => {
    await start();
    answer('shop', certificate(begins + 5 * day));
    await clock.advance(hour + minute);
    answer('shop', certificate(begins + 95 * day, false));
    await clock.advance(day);
    answer('shop', certificate(begins + 95 * day));
    await clock.advance(day);
    expect(summaries()).toEqual([
      'The certificate of Shop ends in 4 days, on 2026-10-17.',
      'The certificate of Shop ends in 93 days, on 2027-01-15.',
    ]);
  });

  test('what shows the same one within an hour is one message, what shows it later another', async () => {
    await start();
    await clock.advance(2 * minute);
    answer('shop', certificate(begins + 9 * day));
    await clock.advance(30 * minute);
    answer('photos', certificate(begins + 9 * day));
    await clock.advance(hour);
    expect(summaries()).toEqual([
      'The certificate of Shop and Photos ends in 8 days, on 2026-10-21.',
    ]);
    answer('nas', certificate(begins + 9 * day));
    await clock.advance(hour);
    expect(summaries()[1]).toBe('The certificate of Nas ends in 8 days, on 2026-10-21.');
  });

  test('it goes out once while the record cannot be written', async () => {
    record.breakWrites('the disk is full');
    answer('shop', certificate(begins + 9 * day));
    await start();
    await clock.advance(5 * hour);
    expect(notices).toHaveLength(1);
    expect(woken).toBe(1);
  });

  test('nobody who does not want to hear of it is told, and who wants to later is', async () => {
    channels = [{ name: 'phone', only: { changes: ['down'] }, digests: [] }];
    answer('shop', certificate(begins + 9 * day));
    await start();
    await clock.advance(2 * hour);
    expect(notices).toEqual([]);
    channels = [{ name: 'phone', only: null, digests: [] }];
    await start();
    await clock.advance(2 * hour);
    expect(notices).toHaveLength(1);
  });
});

describe('facts', () => {
  beforeEach(() => {
    channels = [{ name: 'phone', only: { changes: ['down', 'facts'] }, digests: [] }];
  });
  const say = async (...versions: readonly string[]) => {
    for (const serverVersion of versions) {
      await clock.advance(minute);
      heard.tell(answer('shop', { serverVersion, clockAheadMs: clock.wallMs() }));
      await clock.advance(0);
    }
  };

  test('another version is told when it is said twice, once, and not what moves', async () => {
    await start();
    await say('15.17', '15.17', '15.18');
    expect(notices).toEqual([]);
    await say('15.18', '15.18', '15.18');
    expect(summaries()).toEqual([
      'Shop says something else of itself: version 15.18 in place of 15.17.',
    ]);
    expect(notices[0]?.channels).toEqual(['phone']);
  });

  test('one that changed while nobody looked is told by the next process, and only once', async () => {
    await start();
    await say('15.17', '15.17');
    await running?.stop();
    await clock.advance(day);
    await start();
    await say('16.1', '16.1', '16.1');
    await start();
    await say('16.1', '16.1');
    expect(summaries()).toEqual([
      'Shop says something else of itself: version 16.1 in place of 15.17.',
    ]);
  });

  test('two servers behind one name that take turns are no news, or seldom', async () => {
    await start();
    for (let nth = 0; nth < 100; nth++) await say('15.17', '15.18');
    expect(notices).toEqual([]);
    for (let nth = 0; nth < 60; nth++) await say('15.17', '15.17', '15.18', '15.18');
    // Four hours: at most one message in each, and the first.
    expect(notices.length).toBeGreaterThan(0);
    expect(notices.length).toBeLessThanOrEqual(5);
  });

  test('what answers in the place of a service that is gone says nothing of it', async () => {
    await start();
    await say('15.17', '15.17');
    for (const server of ['front', 'front', 'front']) {
      await clock.advance(minute);
      heard.tell(answer('shop', { serverVersion: server }, 'failed'));
    }
    expect(notices).toEqual([]);
  });

  test('where no channel asks for it nothing is listened to', async () => {
    channels = [{ name: 'phone', only: null, digests: [] }];
    await start();
    await say('15.17', '15.17', '15.18', '15.18');
    expect(notices).toEqual([]);
    expect(await record.kept('told:facts shop')).toBeNull();
  });
});

/** Spans and outages of one service, as the record has them: down in these stretches. */
async function lived(id: string, downs: readonly (readonly [from: number, to: number])[]) {
  const edit = (state: State, from: number) => ({ state, from, earliestFrom: from });
  await record.commit({
    observations: [],
    memories: [],
    spans: [
      {
        serviceId: id,
        edits: [
          edit('up', begins - 40 * day),
          ...downs.flatMap(([from, to]) => [edit('down', from), edit('up', to)]),
        ],
      },
    ],
    outages: downs.map(([from, to]) =>
      outage(id, from, { restoredAt: to, lastFailedAt: to, lastGoodAt: from }),
    ),
    unconfirmed: [],
    notices: [],
  });
}
const decided = (id: string, to: State): Happening => ({
  ...answer(id, {}),
  change: {
    from: to === 'down' ? 'up' : 'down',
    to,
    since: clock.wallMs(),
    decidedAt: clock.wallMs(),
    causeId: null,
    outageId: null,
  },
});

describe('budgets', () => {
  beforeEach(() => {
    cards = [card('shop', { objective: 0.995 }), card('nas')];
  });

  test('nothing is read while nothing was down of late', async () => {
    await lived('shop', [[begins - 5 * day, begins - 5 * day + hour]]);
    await start();
    await clock.advance(3 * hour);
    expect(reads).toEqual(['outages null']);
    expect(notices).toEqual([]);
  });

  test('one that will not last is told once, with what it has used and in what', async () => {
    await lived('shop', [
      [begins - 2 * day, begins - 2 * day + hour],
      [begins - hour, begins - hour + 20 * minute],
    ]);
    await start();
    await clock.advance(hour);
    await start();
    await clock.advance(day);
    expect(summaries()).toEqual([
      'Shop has used 37 % of the down time that 99.5 % allows in 30 days (1 h 20 min of 3 h 36 min), in 2 outages since Saturday.',
    ]);
    expect(notices[0]).toMatchObject({
      type: 'rollcall.budget.burning',
      serviceId: 'shop',
      data: {
        budget: { objective: 0.995, allowedMs: 12_960_000, usedMs: 4_800_000, outages: 2 },
        burning: { windowMs: 72 * hour },
      },
    });
  });

  test('one outage is not told twice', async () => {
    await lived('shop', [[begins - 2 * hour, begins - hour]]);
    await start();
    await clock.advance(day);
    expect(notices).toEqual([]);
  });

  test('what goes down while it runs is looked at without a restart, and told again after a calm', async () => {
    await lived('shop', []);
    await start();
    await clock.advance(hour);
    const fail = async (downs: [number, number][]) => {
      heard.tell(decided('shop', 'down'));
      const from = clock.wallMs();
      await clock.advance(20 * minute);
      downs.push([from, clock.wallMs()]);
      await lived('shop', downs);
      heard.tell(decided('shop', 'up'));
      await clock.advance(hour);
    };
    const downs: [number, number][] = [];
    await fail(downs);
    expect(notices).toEqual([]);
    await fail(downs);
    expect(notices).toHaveLength(1);
    await fail(downs);
    expect(notices).toHaveLength(1);
    await clock.advance(13 * hour);
    await fail(downs);
    expect(notices).toHaveLength(2);
    await clock.advance(5 * day);
    expect(notices).toHaveLength(2);
  });
});

describe('digests', () => {
  beforeEach(() => {
    channels = [
      { name: 'mail', only: null, digests: ['weekly', 'monthly'] },
      { name: 'phone', only: null, digests: [] },
    ];
  });

  test('come on Monday and on the first of the month at eight in Dublin, over the change of the clock', async () => {
    await lived('shop', []);
    await start();
    const told: string[] = [];
    for (let hours = 0; hours < 30 * 24; hours++) {
      const before = notices.length;
      await clock.advance(hour);
      for (const { data } of notices.slice(before)) told.push(`${at()} ${data.summary}`);
    }
    // Looked at every minute from a full hour on: 08:00 in Dublin is 07:00 UTC in summer and 08:00 in winter.
    expect(told).toEqual([
      '2026-10-19T07:00 Fernhill Pottery, the week from 12 October: no outage.',
      '2026-10-26T08:00 Fernhill Pottery, the week from 19 October: no outage.',
      '2026-11-01T08:00 Fernhill Pottery, October 2026: no outage.',
      '2026-11-02T08:00 Fernhill Pottery, the week from 26 October: no outage.',
      '2026-11-09T08:00 Fernhill Pottery, the week from 2 November: no outage.',
    ]);
    expect(notices.every((notice) => notice.channels.join() === 'mail')).toBe(true);
  });

  test('who has only begun to watch is not told of the week before', async () => {
    await start();
    await clock.advance(6 * day);
    expect(notices).toEqual([]);
  });

  test('after a stop the last one of each comes, and only that', async () => {
    await start();
    await clock.advance(hour);
    await running?.stop();
    clock.suspend(40 * day);
    await start();
    await clock.advance(2 * hour);
    expect(summaries()).toEqual([
      'Fernhill Pottery, the week from 9 November: no outage.',
      'Fernhill Pottery, October 2026: no outage.',
    ]);
    await start();
    await clock.advance(hour);
    expect(notices).toHaveLength(2);
  });

  test('a clock that goes back an hour and on again makes none come twice', async () => {
    await start();
    await clock.advance(7 * day);
    expect(notices).toHaveLength(1);
    clock.step(-5 * hour);
    await clock.advance(day);
    expect(notices).toHaveLength(1);
  });

  test('jobs that did not go well are told to who has them', async () => {
    cards = [card('shop'), card('backup', { name: 'Nightly backup', kind: 'job' })];
    channels = [
      { name: 'all', only: null, digests: ['weekly'] },
      { name: 'shop', only: { services: ['shop'] }, digests: ['weekly'] },
    ];
    await start();
    const [beganAt, endedAt] = [begins + day, begins + day + minute];
    const run = { id: 'a', jobId: 'backup', beganAt, endedAt, exit: 3, tail: null };
    await record.commit({
      ...{ observations: [], memories: [], spans: [], outages: [], unconfirmed: [], notices: [] },
      runs: [{ ...run, sizeBytes: 0, value: null, unit: null }],
    });
    await clock.advance(7 * day);
    expect(notices.map(({ channels: to, data }) => [...to, data['jobs']])).toEqual([
      ['all', [expect.objectContaining({ job: 'backup', failed: 1, overdue: 0 })]],
      ['shop', []],
    ]);
    expect(notices[0]?.data['text']).toMatch(/\n- Nightly backup: failed once$/);
  });

  test('a channel for some services gets theirs', async () => {
    channels = [
      { name: 'all', only: { changes: ['down'] }, digests: ['weekly'] },
      { name: 'shop', only: { services: ['shop'] }, digests: ['weekly'] },
      { name: 'everything', only: null, digests: ['weekly'] },
    ];
    await start();
    await clock.advance(7 * day);
    expect(notices.map((notice) => [notice.channels, notice.data['servicesCount']])).toEqual([
      [['all', 'everything'], 3],
      [['shop'], 1],
    ]);
  });
});
