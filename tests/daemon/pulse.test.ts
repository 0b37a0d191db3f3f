/** Two Rollcalls that call out while they are well: when one is killed, its pulse is what stops. */
import { createServer, type Server } from 'node:http';
import type { AddressInfo } from 'node:net';
import { afterEach, beforeEach, expect, test, vi } from 'vitest';
import { type Place, place, type Running } from './support/daemon.ts';
import { receiver, webhookSecret } from './support/receiver.ts';

const within = { timeout: 20_000, interval: 50 };
let homes: Place[];
let daemons: Running[];
let server: Server;
let beats: Map<string, number>;
let url: string;

beforeEach(async () => {
  homes = [await place(), await place()];
  daemons = [];
  beats = new Map();
  server = createServer((request, response) => {
    const path = request.url ?? '';
    beats.set(path, (beats.get(path) ?? 0) + 1);
    response.writeHead(204).end();
  });
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  url = `http://127.0.0.1:${(server.address() as AddressInfo).port}`;
});
afterEach(async () => {
  for (const daemon of daemons) await daemon.stop();
  for (const home of homes) home.remove();
  await new Promise<void>((resolve) => {
    server.close(() => resolve());
    server.closeAllConnections();
  });
});

const countOf = (path: string) => beats.get(path) ?? 0;
const more = (path: string, count: number) => {
  const wanted = countOf(path) + count;
  return vi.waitFor(() => expect(countOf(path)).toBeGreaterThanOrEqual(wanted), within);
};

test('the pulse of each is heard, and of a killed one no more', async () => {
  const names = ['/kiln', '/shop'];
  for (const [nth, home] of homes.entries()) {
    home.configure(
      `services: [{ name: Receiver, probe: "tcp://${new URL(url).host}" }]\npulse: { to: "${url}${names[nth]}", every: 1s }`,
    );
    daemons.push(await home.start());
  }
  const [kiln] = daemons;
  if (!kiln) throw new Error('there are two');
  await Promise.all(names.map((name) => more(name, 3)));
  const about = await (await fetch(new URL('/about', kiln.url))).text();
  expect(about).toContain('Pulse');
  // The address of the receiver is nobody else's business.
  expect(about).not.toContain('/kiln');
  expect(kiln.stdout()).not.toContain('/kiln');

  kiln.signal('SIGKILL');
  await kiln.ended;
  const last = countOf('/kiln');
  await more('/shop', 3);
  expect(countOf('/kiln')).toBe(last);
});

/** Nothing is due more often than once a minute, so this takes one. */
test('two that watch each other: when one is killed the other tells that it is overdue', async () => {
  const [here, there] = homes;
  if (!here || !there) throw new Error('there are two');
  const told = await receiver();
  const token = 'pulse-0123456789abcdef-pulse';
  const configure = (own: Place, other: Place) =>
    own.configure(`
services: [{ name: Board, probe: "tcp://127.0.0.1:${own.port}" }]
jobs: [{ name: Other Rollcall, every: 60s, allow: 1s, token: ${token} }]
tell: [{ name: phone, webhook: "${told.url}", secret: "${webhookSecret}" }]
pulse:
  to: "http://127.0.0.1:${other.port}/jobs/other-rollcall/ended?exit=0"
  every: 1s
  method: POST
  headers: { Authorization: "Bearer ${token}" }`);
  configure(here, there);
  configure(there, here);
  try {
    const killed = await here.start();
    const left = await there.start();
    daemons.push(killed, left);
    interface RunJson {
      readonly exit: number;
      readonly output: string;
    }
    const runs = async ({ json }: Running) =>
      (await json<{ runs: readonly RunJson[] }>('/api/v1/jobs/other-rollcall/runs')).runs;
    for (const one of [killed, left]) {
      await vi.waitFor(async () => expect((await runs(one)).length).toBeGreaterThan(2), within);
    }
    const [run] = await runs(left);
    expect(run).toMatchObject({ exit: 0, output: expect.stringContaining('"source":"urn:uuid:') });
    expect(told.delivered()).toEqual([]);

    killed.signal('SIGKILL');
    await killed.ended;
    const late = { timeout: 80_000, interval: 200 };
    await vi.waitFor(() => expect(told.delivered()).toHaveLength(1), late);
    expect(told.delivered()[0]).toMatchObject({
      ...{ type: 'rollcall.job.overdue', subject: 'other-rollcall' },
      data: { summary: expect.stringMatching(/^Other Rollcall is overdue: not begun /) },
    });
    daemons.push(await here.start());
    await vi.waitFor(() => expect(told.delivered()).toHaveLength(2), within);
    expect(told.delivered()[1]).toMatchObject({ type: 'rollcall.job.recovered' });
    expect(left.stdout()).not.toContain(token);
  } finally {
    await told.close();
  }
}, 150_000);
