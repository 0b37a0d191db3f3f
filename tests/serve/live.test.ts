/** The stream of what happens (WHATWG HTML, "Server-sent events"): ids, resumption, heartbeat, bounds, its end. */
import { once } from 'node:events';
import { type ClientRequest, get as httpGet, type IncomingMessage } from 'node:http';
import type { AddressInfo } from 'node:net';
import type { Readable } from 'node:stream';
import { afterAll, afterEach, beforeEach, describe, expect, test } from 'vitest';
import { type Happening, happenings } from '../../src/base/happenings.ts';
import { liveBufferBytesMax, liveHeartbeatMs, liveStreamsCountMax } from '../../src/base/limits.ts';
import { type LiveFeed, liveFeedOf } from '../../src/serve/live-feed.ts';
import { type SimulatedClock, simulatedClock } from '../support/clock-simulated.ts';
import { guardedBoards, home, post, readToken, signedIn, tokenOn } from './guarded.ts';
import { now, refused, type Scene } from './scene.ts';

const answered: Happening = {
  serviceId: 'shop',
  observation: {
    at: now,
    outcome: 'answered',
    tookUs: 412,
    phases: {},
    trouble: null,
    facts: { banner: 'two\nlines' },
  },
  change: null,
};
const fell: Happening = {
  serviceId: 'shop',
  observation: { ...answered.observation, outcome: 'failed', trouble: refused, facts: {} },
  change: {
    from: 'up',
    to: 'down',
    since: now - 5_000,
    decidedAt: now,
    causeId: null,
    outageId: 'shop.a',
  },
};

interface Event {
  readonly event: string;
  readonly id: string;
  readonly data: string;
}

/** By the rules of the specification, §9.2.6, "Interpreting an event stream". */
function eventsIn(text: string): {
  readonly events: Event[];
  readonly comments: number;
  lastId: string;
} {
  const events: Event[] = [];
  let [event, data, id, comments] = ['', '', '', 0];
  for (const line of text.split('\n')) {
    const [, field = '', value = ''] = /^([^:]*):? ?(.*)$/.exec(line) ?? [];
    if (line === '') {
      if (data !== '') events.push({ event: event || 'message', id, data: data.slice(0, -1) });
      [event, data] = ['', ''];
    } else if (field === '') comments++;
    else if (field === 'event') event = value;
    else if (field === 'data') data += `${value}\n`;
    else if (field === 'id') id = value;
  }
  return { events, comments, lastId: id };
}

function readOf(stream: Readable | null): string {
  return String(stream?.read() ?? '');
}

describe('the feed', () => {
  let clock: SimulatedClock;
  let tell: (happening: Happening) => void;
  let feed: LiveFeed;
  const always = () => true;

  beforeEach(() => {
    clock = simulatedClock({ wallMs: now });
    const house = happenings((thrown) => {
      throw thrown;
    });
    tell = house.tell;
    feed = liveFeedOf({ clock, listen: house.listen });
  });
  afterEach(() => feed.close());

  test('tells observations, and changes with an id, in the words of the API', () => {
    const stream = feed.open(null, always);
    tell(answered);
    tell(fell);
    const text = readOf(stream);
    expect(text).toMatch(/^retry: \d+\n/);
    const { events } = eventsIn(text);
    expect(events.map(({ event }) => event)).toEqual(['observation', 'change', 'observation']);
    expect(JSON.parse(events[0]?.data ?? '')).toEqual({
      service: 'shop',
      at: '2026-11-25T09:42:10.000Z',
      outcome: 'answered',
      tookUs: 412,
      layer: null,
      reason: null,
      detail: null,
      hint: null,
      facts: { banner: 'two\nlines' },
    });
    expect(JSON.parse(events[1]?.data ?? '')).toEqual({
      service: 'shop',
      from: 'up',
      to: 'down',
      since: '2026-11-25T09:42:05.000Z',
      at: '2026-11-25T09:42:10.000Z',
      cause: null,
      outage: 'shop.a',
    });
    expect(events[1]?.id).not.toBe(events[0]?.id);
    // An observation moves no id on.
    expect(events[2]?.id).toBe(events[1]?.id);
  });

  test('who comes back hears the changes since, once each', () => {
    const first = feed.open(null, always);
    const { lastId } = eventsIn(readOf(first));
    first?.destroy();
    tell(fell);
    tell(answered);
    tell(fell);
    const { events, lastId: newest } = eventsIn(readOf(feed.open(lastId, always)));
    expect(events.map(({ event }) => event)).toEqual(['change', 'change']);
    expect(eventsIn(readOf(feed.open(events[0]?.id ?? '', always))).events).toHaveLength(1);
    expect(events[1]?.id).toBe(newest);
    expect(eventsIn(readOf(feed.open(newest, always))).events).toEqual([]);
  });

  test('who was away too long, or knows ids of another run, hears that there was more', () => {
    const { lastId } = eventsIn(readOf(feed.open(null, always)));
    for (let count = 0; count < 300; count++) tell(fell);
    for (const id of [lastId, 'other-1', '', '\u0000', `${lastId}9999`]) {
      const { events, lastId: newest } = eventsIn(readOf(feed.open(id, always)));
      expect(events).toEqual([{ event: 'missed', id: '', data: '{}' }]);
      expect(eventsIn(readOf(feed.open(newest, always))).events).toEqual([]);
    }
  });

  test('says now and then that it is still there', async () => {
    const stream = feed.open(null, always);
    readOf(stream);
    await clock.advance(3 * liveHeartbeatMs);
    const { events, comments } = eventsIn(readOf(stream));
    expect([events, comments]).toEqual([[], 3]);
  });

  test('ends for who may not read any more', async () => {
    let may = true;
    const stream = feed.open(null, () => may);
    await clock.advance(liveHeartbeatMs);
    may = false;
    await clock.advance(liveHeartbeatMs);
    expect(eventsIn(readOf(stream)).comments).toBe(1);
    stream?.resume();
    await once(stream as Readable, 'end');
  });

  test('drops who does not read, and keeps the others', async () => {
    const slow = feed.open(null, always);
    const quick = feed.open(null, always);
    const closed = once(slow as Readable, 'close');
    const onesCount = Math.ceil(liveBufferBytesMax / 150);
    for (let count = 0; count < onesCount; count++) {
      tell(answered);
      readOf(quick);
    }
    await closed;
    expect(slow?.destroyed).toBe(true);
    expect(quick?.destroyed).toBe(false);
  });

  test('opens so many and no more, until one is gone', async () => {
    const streams = Array.from({ length: liveStreamsCountMax }, () => feed.open(null, always));
    expect(streams).not.toContain(null);
    expect(feed.open(null, always)).toBeNull();
    const closed = once(streams[0] as Readable, 'close');
    streams[0]?.destroy();
    await closed;
    expect(feed.open(null, always)).not.toBeNull();
  });

  test('a listener that throws keeps nobody else from hearing', () => {
    const thrown: unknown[] = [];
    const house = happenings((one) => thrown.push(one));
    const heard: string[] = [];
    house.listen(() => {
      throw new Error('broken');
    });
    const stop = house.listen(({ serviceId }) => heard.push(serviceId));
    house.tell(answered);
    stop();
    house.tell(answered);
    expect([thrown.length, heard]).toEqual([2, ['shop']]);
  });
});

describe('over a socket', () => {
  const { board, close } = guardedBoards();
  const requests: ClientRequest[] = [];
  afterEach(() => {
    for (const request of requests.splice(0)) request.destroy();
  });
  afterAll(close);

  async function live(more: object = {}) {
    const house = happenings(() => {});
    const scene = await board({ listen: house.listen, ...more });
    await scene.app.listen({ host: '127.0.0.1', port: 0 });
    return { scene, tell: house.tell };
  }

  function open({ app }: Scene, headers: Record<string, string>): Promise<IncomingMessage> {
    const { port } = app.server.address() as AddressInfo;
    return new Promise((resolve, reject) => {
      const sent = { ...home, 'accept-encoding': 'gzip, br', ...headers };
      const request = httpGet({ host: '127.0.0.1', port, path: '/live', headers: sent }, resolve);
      request.on('error', reject);
      requests.push(request);
    });
  }

  /** Until so many events are there. */
  async function heard(stream: IncomingMessage, count: number): Promise<Event[]> {
    let text = '';
    stream.setEncoding('utf8');
    for await (const chunk of stream) {
      text += chunk;
      const { events } = eventsIn(text);
      if (events.length >= count) return events;
    }
    return eventsIn(text).events;
  }

  const bearer = { authorization: `Bearer ${readToken}` };

  test('is an event stream, not compressed, kept by nobody, buffered by no proxy', async () => {
    const { scene, tell } = await live();
    const stream = await open(scene, bearer);
    expect(stream.statusCode).toBe(200);
    expect(stream.headers).toMatchObject({
      'content-type': 'text/event-stream; charset=utf-8',
      'cache-control': 'no-store',
      'x-accel-buffering': 'no',
      'x-content-type-options': 'nosniff',
    });
    expect(stream.headers).not.toHaveProperty('content-encoding');
    expect(stream.headers).not.toHaveProperty('content-length');
    tell(fell);
    expect((await heard(stream, 2)).map(({ event }) => event)).toEqual(['change', 'observation']);
  });

  test('is read by nobody who is not known, and a HEAD does not open it', async () => {
    const { scene } = await live();
    expect((await open(scene, {})).statusCode).toBe(401);
    const headers = { ...home, ...bearer };
    const head = await scene.app.inject({ method: 'HEAD', url: '/live', headers });
    expect(head.statusCode).toBe(404);
  });

  test('ends with the board, which does not wait for its readers', async () => {
    const { scene } = await live();
    const stream = await open(scene, bearer);
    const ended = heard(stream, 1);
    await scene.app.close();
    expect(await ended).toEqual([]);
  });

  test('ends for who signed out in another tab', async () => {
    const { scene, tell } = await live();
    const cookie = await signedIn(scene);
    const stream = await open(scene, { cookie });
    const ended = heard(stream, 2);
    await post(scene, '/sign-out', { token: await tokenOn(scene, cookie) }, { cookie });
    await scene.clock.advance(liveHeartbeatMs);
    tell(fell);
    expect(await ended).toEqual([]);
  });
});
