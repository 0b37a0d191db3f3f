/** The pulse against receivers on loopback: taken, refused, slow, and silent while something is wrong. */
import { createServer, type IncomingMessage, type Server, type ServerResponse } from 'node:http';
import type { AddressInfo } from 'node:net';
import { afterEach, beforeEach, expect, test, vi } from 'vitest';
import type { Clock } from '../src/base/clock.ts';
import { realClock } from '../src/base/clock-real.ts';
import type { Log } from '../src/base/log.ts';
import { type PulseGiven, type PulseRun, pulseTroubles, startPulse } from '../src/pulse.ts';
import { hurriedClock } from './support/clock-hurried.ts';

interface Got {
  readonly method: string;
  readonly url: string;
  readonly headers: IncomingMessage['headers'];
  readonly body: string;
}

const within = { timeout: 20_000, interval: 10 };
let server: Server;
let url: string;
let got: Got[];
/** Answers under way at one time. */
let open: { now: number; most: number };
let answer: (response: ServerResponse) => void;
let pulse: PulseRun | null;
let lines: string[];
let well: boolean;

beforeEach(async () => {
  got = [];
  open = { now: 0, most: 0 };
  lines = [];
  well = true;
  pulse = null;
  answer = (response) => void response.writeHead(204).end();
  server = createServer((request, response) => {
    open.now += 1;
    open.most = Math.max(open.most, open.now);
    response.once('close', () => {
      open.now -= 1;
    });
    let body = '';
    request.on('data', (chunk: Buffer) => {
      body += chunk.toString();
    });
    request.on('end', () => {
      const { method = '', url: path = '', headers } = request;
      got.push({ method, url: path, headers, body });
      answer(response);
    });
  });
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  url = `http://127.0.0.1:${(server.address() as AddressInfo).port}`;
});
afterEach(async () => {
  await pulse?.stop();
  await new Promise<void>((resolve) => {
    server.close(() => resolve());
    server.closeAllConnections();
  });
});

const log: Log = {
  debug: () => {},
  info: (_, message) => void lines.push(message),
  warn: (fields, message) => void lines.push(`${message} ${JSON.stringify(fields)}`),
  error: (fields, message) => void lines.push(`${message} ${JSON.stringify(fields)}`),
};

function start(more: Partial<PulseGiven['pulse']> = {}, clock: Clock = realClock()): PulseRun {
  pulse = startPulse({
    clock,
    log,
    pulse: { to: `${url}/beat?key=potter`, everyMs: 30, method: 'GET', headers: {}, ...more },
    isWell: () => well,
    instanceId: '2f1c9d3a-5b0e-4d0a-9c57-0f2f6f4f8b11',
    version: '1.2.3',
  });
  return pulse;
}
const beats = (count: number) =>
  vi.waitFor(() => expect(got.length).toBeGreaterThanOrEqual(count), within);

test('it calls at once and again and again, by GET and with nothing in it', async () => {
  const run = start({ headers: { Authorization: 'Bearer kiln', 'X-From': 'fernhill' } });
  await beats(3);
  expect(got[0]).toMatchObject({ method: 'GET', url: '/beat?key=potter', body: '' });
  expect(got[0]?.headers).toMatchObject({
    authorization: 'Bearer kiln',
    'x-from': 'fernhill',
    'user-agent': 'Rollcall',
  });
  await vi.waitFor(() => expect(run.state().takenAt).not.toBeNull(), within);
  expect(run.state()).toMatchObject({ trouble: null, failuresCount: 0, isSilent: false });
  expect(lines).toEqual([]);
});

test('a POST says who calls', async () => {
  start({ method: 'POST' });
  await beats(1);
  expect(got[0]).toMatchObject({ method: 'POST' });
  expect(got[0]?.headers['content-type']).toBe('application/json');
  expect(JSON.parse(got[0]?.body ?? '')).toEqual({
    at: expect.stringMatching(/^\d{4}-\d\d-\d\dT.*Z$/),
    source: 'urn:uuid:2f1c9d3a-5b0e-4d0a-9c57-0f2f6f4f8b11',
    version: '1.2.3',
  });
});

test('while something is wrong it is silent, and says so in the log once', async () => {
  const run = start();
  await beats(2);
  well = false;
  await vi.waitFor(() => expect(run.state().isSilent).toBe(true), within);
  const count = got.length;
  const turns = vi.fn(() => well);
  // Twenty more turns pass in silence.
  const quiet = startPulse({
    clock: realClock(),
    log,
    pulse: { to: url, everyMs: 10, method: 'GET', headers: {} },
    isWell: turns,
    instanceId: 'x',
    version: '1',
  });
  await vi.waitFor(() => expect(turns.mock.calls.length).toBeGreaterThan(20), within);
  await quiet.stop();
  expect(got).toHaveLength(count);
  well = true;
  await beats(count + 1);
  await vi.waitFor(() => expect(run.state().isSilent).toBe(false), within);
  expect(lines.filter((line) => line.startsWith('the pulse is silent'))).toHaveLength(2);
  expect(lines).toContain('the pulse goes on');
});

test('a refusal is logged once for each streak, shown when it lasts, and taken back', async () => {
  answer = (response) => void response.writeHead(404).end('no such beat: key=potter');
  const run = start();
  await vi.waitFor(() => expect(run.state().failuresCount).toBeGreaterThanOrEqual(4), within);
  const where = new URL(url).host;
  expect(run.state()).toMatchObject({ takenAt: null, trouble: `${where} answered 404` });
  expect(pulseTroubles(run.state())).toEqual([
    `The pulse is not taken: ${where} answered 404. Whoever listens for it takes Rollcall for dead.`,
  ]);
  expect(pulseTroubles({ ...run.state(), failuresCount: 2 })).toEqual([]);
  answer = (response) => void response.writeHead(200).end('taken');
  await vi.waitFor(() => expect(run.state().failuresCount).toBe(0), within);
  expect(lines).toEqual([
    `the pulse was not taken {"error":"${where} answered 404"}`,
    'the pulse is taken again',
  ]);
  // The address may be a secret behind its host.
  expect(lines.join()).not.toContain('potter');
});

test('a redirect is not followed', async () => {
  answer = (response) => void response.writeHead(302, { location: `${url}/elsewhere` }).end();
  const run = start();
  await vi.waitFor(() => expect(run.state().failuresCount).toBeGreaterThan(1), within);
  expect(run.state().trouble).toContain('answered 302: it points elsewhere');
  expect(got.every(({ url: path }) => path === '/beat?key=potter')).toBe(true);
});

test('a receiver that never answers is given up, and no call begins beside another', async () => {
  answer = () => {};
  // Its ten seconds are a tenth of one here.
  const run = start({ everyMs: 1_000 }, hurriedClock(100));
  await vi.waitFor(() => expect(run.state().failuresCount).toBeGreaterThan(2), within);
  expect(run.state().trouble).toMatch(/did not answer within 10 s$/);
  // The connection of the one before may still be closing.
  expect(got.length).toBeLessThanOrEqual(run.state().failuresCount + 1);
});

test('a body without end is not read', async () => {
  answer = (response) => {
    response.writeHead(200);
    const more = () => {
      if (!response.destroyed) response.write(Buffer.alloc(65_536), more);
    };
    more();
  };
  const run = start();
  await vi.waitFor(() => expect(run.state().takenAt).not.toBeNull(), within);
  await beats(3);
  expect(run.state().failuresCount).toBe(0);
});

test('nobody there is a trouble, and the end does not wait for an answer', async () => {
  const run = start({ to: 'http://127.0.0.1:1/beat' });
  await vi.waitFor(
    () => expect(run.state().trouble).toBe('nothing listens on 127.0.0.1:1'),
    within,
  );
  await run.stop();
  answer = () => {};
  const other = start();
  await beats(1);
  await other.stop();
  expect(other.state().failuresCount).toBe(0);
});
