/** End to end through the real process: a service goes away and comes back, and whoever should hear of it does. */
import { openSync } from 'node:fs';
import { createServer, type Server } from 'node:net';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, test, vi } from 'vitest';
import { needs } from '../support/peers.ts';
import { freePort, type Place, place, type Running } from './support/daemon.ts';
import { type Receiver, receiver, webhookSecret } from './support/receiver.ts';

interface ServiceJson {
  readonly id: string;
  readonly state: string;
  readonly since: string | null;
  readonly suspect: boolean;
  readonly cause: string | null;
  readonly last: { readonly outcome: string; readonly reason: string | null } | null;
}
interface OutageJson {
  readonly id: string;
  readonly lastGoodAt: string | null;
  readonly firstFailedAt: string;
  readonly confirmedAt: string;
  readonly lastFailedAt: string;
  readonly restoredAt: string | null;
}
interface AvailabilityJson {
  readonly estimate: number;
  readonly low: number;
  readonly high: number;
  readonly upMs: number;
  readonly downMs: number;
  readonly unobservedMs: number;
  readonly outages: number;
  readonly mttrMs: number | null;
}

const within = { timeout: 20_000, interval: 50 };

let home: Place;
let told: Receiver;
let running: Running | null;
let shop: Server | null;
let shopPort: number;

beforeEach(async () => {
  home = await place();
  told = await receiver();
  running = null;
  shopPort = await freePort();
  shop = null;
});
afterEach(async () => {
  await running?.stop();
  await closeShop();
  await told.close();
  home.remove();
});

function openShop(): Promise<void> {
  return new Promise((resolve) => {
    shop = createServer((socket) => socket.on('error', () => {}).end());
    shop.listen(shopPort, '127.0.0.1', resolve);
  });
}
function closeShop(): Promise<void> {
  return new Promise((resolve) => {
    if (!shop?.listening) resolve();
    else shop.close(() => resolve());
  });
}

const channel = () => `tell: [{ name: phone, webhook: "${told.url}", secret: ${webhookSecret} }]`;
const shopOnly = () =>
  `services: [{ name: Shop, probe: "tcp://127.0.0.1:${shopPort}" }]\n${channel()}`;

async function start(): Promise<Running> {
  running = await home.start();
  return running;
}
const serviceOf = (daemon: Running, id = 'shop') =>
  daemon.json<ServiceJson>(`/api/v1/services/${id}`);
const stateIs = (daemon: Running, state: string, id = 'shop') =>
  vi.waitFor(async () => expect((await serviceOf(daemon, id)).state).toBe(state), within);
const ms = (text: string | null) => Date.parse(text ?? '');

test('a service goes away and comes back: states, instants, one message each way, and its availability', async () => {
  home.configure(shopOnly());
  await openShop();
  const daemon = await start();
  await stateIs(daemon, 'up');
  const startedAt = ms((await serviceOf(daemon)).since);

  const closedAt = Date.now();
  await closeShop();
  await stateIs(daemon, 'down');
  // Every second, twice in a row half a second apart, refused at once.
  expect(Date.now() - closedAt).toBeLessThan(4_000);
  await vi.waitFor(() => expect(told.delivered()).toHaveLength(1), within);
  const openedAt = Date.now();
  await openShop();
  await stateIs(daemon, 'up');
  await vi.waitFor(() => expect(told.delivered()).toHaveLength(2), within);

  const { outages } = await daemon.json<{ outages: OutageJson[] }>('/api/v1/outages?service=shop');
  expect(outages).toHaveLength(1);
  const [outage] = outages as [OutageJson];
  const instants = [
    outage.lastGoodAt,
    outage.firstFailedAt,
    outage.confirmedAt,
    outage.lastFailedAt,
    outage.restoredAt,
  ].map(ms);
  expect(instants).toEqual([...instants].sort((a, b) => a - b));
  const [lastGoodAt = 0, firstFailedAt = 0, , lastFailedAt = 0, restoredAt = 0] = instants;
  expect(lastGoodAt).toBeLessThanOrEqual(closedAt + 50);
  expect(firstFailedAt).toBeGreaterThanOrEqual(closedAt - 50);
  expect(lastFailedAt).toBeLessThanOrEqual(openedAt + 50);
  expect(restoredAt).toBeGreaterThanOrEqual(openedAt - 50);

  const [down, up] = told.delivered();
  expect(down).toMatchObject({ type: 'rollcall.service.down', subject: 'shop' });
  expect(down?.data.summary).toContain('Shop is down');
  expect(up).toMatchObject({ type: 'rollcall.service.up', data: { outage: { id: outage.id } } });

  // By hand, from the instants above: the middles make the estimate, the ends the bounds.
  const to = Date.now();
  const range = `from=${new Date(startedAt).toISOString()}&to=${new Date(to).toISOString()}`;
  const seen = await daemon.json<AvailabilityJson>(`/api/v1/services/shop/availability?${range}`);
  const windowMs = to - startedAt;
  const downMs = (lastFailedAt + restoredAt) / 2 - (lastGoodAt + firstFailedAt) / 2;
  expect(seen.unobservedMs).toBe(0);
  expect(Math.abs(seen.downMs - downMs)).toBeLessThanOrEqual(1);
  // Middles are whole milliseconds.
  const share = (ms: number) => 1 - ms / windowMs;
  const near = (value: number, expected: number) =>
    expect(Math.abs(value - expected)).toBeLessThanOrEqual(1.5 / windowMs);
  near(seen.estimate, share(downMs));
  near(seen.low, share(restoredAt - lastGoodAt));
  near(seen.high, share(lastFailedAt - firstFailedAt));
  expect(seen.outages).toBe(1);
  expect(Math.abs((seen.mttrMs ?? 0) - downMs)).toBeLessThanOrEqual(1);

  // Nobody is told again while nothing changes.
  await new Promise((resolve) => setTimeout(resolve, 2_500));
  expect(told.got).toHaveLength(2);
});

test('killed right after a change: the message arrives after the restart, the gap is unobserved, the record is sound', async () => {
  home.configure(shopOnly());
  await openShop();
  // Whoever is told is away, so that the message cannot leave before the end.
  told.answer(...Array<number>(50).fill(503));
  const first = await start();
  await stateIs(first, 'up');
  await closeShop();
  await stateIs(first, 'down');
  first.signal('SIGKILL');
  await first.ended;
  const killedAt = Date.now();
  const tried = told.got.length;
  await new Promise((resolve) => setTimeout(resolve, 4_000));
  told.answer();
  const second = await start();
  await vi.waitFor(() => expect(told.delivered()).toHaveLength(1), {
    timeout: 60_000,
    interval: 100,
  });
  expect(told.delivered()[0]).toMatchObject({ type: 'rollcall.service.down', subject: 'shop' });
  if (tried > 0) expect(told.delivered()[0]?.id).toBe(told.got[0]?.headers['webhook-id']);

  await stateIs(second, 'down');
  const restartedAt = Date.now();
  const range = `from=${new Date(killedAt - 60_000).toISOString()}&to=${new Date(restartedAt).toISOString()}`;
  const seen = await second.json<AvailabilityJson>(`/api/v1/services/shop/availability?${range}`);
  expect(seen.unobservedMs).toBeGreaterThan(2_000);
  // Down before and after: one outage, one message.
  const { outages } = await second.json<{ outages: OutageJson[] }>('/api/v1/outages?service=shop');
  expect(outages).toHaveLength(1);
  expect(told.delivered()).toHaveLength(1);
  const check = await second.json<{ status: string }>('/healthz');
  expect(check.status).toBe('pass');
}, 120_000);

test('a receiver that answers 500 five times, then takes it: one message, the same id, a new signature each time', async () => {
  home.configure(shopOnly());
  told.answer(500, 500, 500, 500, 500);
  const daemon = await start();
  await stateIs(daemon, 'down');
  await vi.waitFor(() => expect(told.delivered()).toHaveLength(1), {
    timeout: 110_000,
    interval: 100,
  });
  expect(told.got.map(({ answered }) => answered)).toEqual([500, 500, 500, 500, 500, 204]);
  expect(new Set(told.got.map(({ headers }) => headers['webhook-id'])).size).toBe(1);
  expect(new Set(told.got.map(({ headers }) => headers['webhook-timestamp'])).size).toBeGreaterThan(
    1,
  );
}, 120_000);

test('what needs a failed service is told with it, in one message', async () => {
  const archivePort = await freePort();
  home.configure(`services:
  - { name: NAS, probe: "tcp://127.0.0.1:${shopPort}" }
  - { name: Photo archive, probe: "tcp://127.0.0.1:${archivePort}", needs: [nas] }
${channel()}`);
  await openShop();
  const archive = createServer((socket) => socket.on('error', () => {}).end());
  await new Promise<void>((resolve) => archive.listen(archivePort, '127.0.0.1', resolve));
  const daemon = await start();
  await stateIs(daemon, 'up', 'nas');
  await stateIs(daemon, 'up', 'photo-archive');
  await Promise.all([closeShop(), new Promise((resolve) => archive.close(resolve))]);
  await stateIs(daemon, 'down', 'nas');
  await stateIs(daemon, 'down', 'photo-archive');
  expect((await serviceOf(daemon, 'photo-archive')).cause).toBe('nas');
  await vi.waitFor(() => expect(told.delivered()).toHaveLength(1), within);
  expect(told.delivered()[0]?.data.affected).toEqual(['photo-archive']);
  // Longer than anything is held back.
  await new Promise((resolve) => setTimeout(resolve, 5_000));
  expect(told.delivered()).toHaveLength(1);
});

test('what is seen through a failed gateway is unobserved, and silent', async () => {
  const archivePort = await freePort();
  home.configure(`services:
  - { name: Gateway, probe: "tcp://127.0.0.1:${shopPort}" }
  - { name: Photo archive, probe: "tcp://127.0.0.1:${archivePort}", through: [gateway] }
${channel()}`);
  await openShop();
  const archive = createServer((socket) => socket.on('error', () => {}).end());
  await new Promise<void>((resolve) => archive.listen(archivePort, '127.0.0.1', resolve));
  const daemon = await start();
  await stateIs(daemon, 'up', 'photo-archive');
  await Promise.all([closeShop(), new Promise((resolve) => archive.close(resolve))]);
  await stateIs(daemon, 'down', 'gateway');
  await stateIs(daemon, 'unobserved', 'photo-archive');
  await vi.waitFor(() => expect(told.delivered()).toHaveLength(1), within);
  await new Promise((resolve) => setTimeout(resolve, 3_000));
  expect(told.delivered().map(({ subject }) => subject)).toEqual(['gateway']);
});

describe('the process', () => {
  test('ends within a few seconds of SIGTERM with 0, and leaves no socket that answers', async () => {
    home.configure(shopOnly());
    const daemon = await start();
    const from = Date.now();
    const { code } = await daemon.stop();
    running = null;
    expect(code).toBe(0);
    expect(Date.now() - from).toBeLessThan(5_000);
    const health = await home.run('health');
    expect(health.code).toBe(1);
  });

  test('is alone on its data folder: a second one refuses and says why', async () => {
    home.configure(shopOnly());
    await start();
    const second = await home.run('start', '--config', home.configFile);
    expect(second.code).toBe(1);
    expect(second.stderr).toMatch(/Another Rollcall daemon uses the data folder/);
  });

  test('reads its configuration again on SIGHUP; one that is wrong changes nothing and is shown', async () => {
    home.configure(shopOnly());
    await openShop();
    const daemon = await start();
    await stateIs(daemon, 'up');
    home.configure(shopOnly().replace('probe:', 'prob:'));
    daemon.signal('SIGHUP');
    await vi.waitFor(() => expect(daemon.stderr()).toMatch(/did you mean `probe`/), within);
    await stateIs(daemon, 'up');
    expect(await (await fetch(daemon.url)).text()).toContain('changes nothing');

    home.configure(
      `services: [{ name: Shop, probe: "tcp://127.0.0.1:${shopPort}" }, { name: Files, probe: "tcp://127.0.0.1:${shopPort}" }]`,
    );
    daemon.signal('SIGHUP');
    await stateIs(daemon, 'up', 'files');
    expect(await (await fetch(daemon.url)).text()).not.toContain('changes nothing');
    expect(told.got).toHaveLength(0);
  });

  test('ends when it is told to, whatever else it is told meanwhile', async () => {
    home.configure(shopOnly());
    const daemon = await start();
    daemon.signal('SIGHUP');
    daemon.signal('SIGHUP');
    daemon.signal('SIGTERM');
    daemon.signal('SIGHUP');
    const { code } = await daemon.ended;
    running = null;
    expect(code).toBe(0);
  });

  test('a start that fails ends the process and says why', async () => {
    home.configure(shopOnly());
    const deep = join(
      home.folder,
      'a-folder-with-a-name-that-is-far-too-long-for-a-socket'.repeat(2),
    );
    const { code, stderr } = await home.run('start', '--config', home.configFile, '--data', deep);
    expect(code).toBe(1);
    expect(stderr).toMatch(/too long for a socket/);
  });

  test('a log that cannot be written does not end the watch', async () => {
    home.configure(shopOnly());
    await openShop();
    running = await home.start({}, openSync('/dev/full', 'w'));
    await stateIs(running, 'up');
    await closeShop();
    await stateIs(running, 'down');
  });

  test('refuses a configuration with mistakes: all of them, with their places, and 2', async () => {
    home.configure(
      'services: [{ name: Shop, probe: "tcp://127.0.0.1:1", intervall: 5s }, { name: Shop, prob: x }]',
    );
    const { code, stderr } = await home.run('start', '--config', home.configFile);
    expect(code).toBe(2);
    expect(stderr).toMatch(/rollcall\.yaml:3:\d+/);
    expect(stderr).toMatch(/`intervall` of Shop: unknown key; did you mean `every`\?/);
    expect(stderr).toMatch(/`prob`/);
  });

  test('never shows a secret, neither in its log nor on its page', async () => {
    home.configure(`services:
  - name: Shop
    probe: { kind: http, url: "http://127.0.0.1:${shopPort}/", headers: { Authorization: "Bearer \${SHOP_TOKEN}" } }
${channel()}`);
    running = await home.start({ SHOP_TOKEN: 'kiln-hot-and-hidden' });
    await stateIs(running, 'down');
    const pages = await Promise.all(
      ['', 'services/shop', 'api/v1/services'].map(async (path) =>
        (await fetch(`${running?.url}${path}`)).text(),
      ),
    );
    const all = [
      ...pages,
      running.stdout(),
      running.stderr(),
      ...told.got.map(({ body }) => body),
    ].join('\n');
    expect(all).not.toContain('kiln-hot-and-hidden');
    expect(all).not.toContain(webhookSecret);
  });
});

describe('rollcall check', () => {
  test('asks through the running daemon, and by itself when none runs', async () => {
    home.configure(shopOnly());
    await openShop();
    const alone = await home.run('check', '--config', home.configFile, '--json');
    expect(alone).toMatchObject({ code: 0 });
    expect(alone.stderr).toMatch(/No daemon runs/);
    const daemon = await start();
    const through = await home.run('check', 'Shop');
    expect(through).toMatchObject({ code: 0, stderr: '' });
    expect(through.stdout).toMatch(/Shop .* answered/);
    await closeShop();
    const failed = await home.run('check', 'shop', '--json');
    expect(failed.code).toBe(1);
    expect(JSON.parse(failed.stdout)).toMatchObject({
      answers: [{ id: 'shop', layer: 'port', reason: 'refused' }],
    });
    const unknown = await home.run('check', 'shopp');
    expect(unknown).toMatchObject({ code: 2 });
    expect(unknown.stderr).toContain('did you mean `shop`?');
    const named = await home.run('check', 'shop', '--config', home.configFile);
    expect(named.stderr).toMatch(/asked with the configuration that it has/);
    expect((await home.run('check', '--config', '/nowhere.yaml')).code).toBe(2);
    await daemon.stop();
    running = null;
  });
});

// The built-in configuration listens on the usual port.
const usualPortIsTaken = await fetch('http://127.0.0.1:7655/').then(
  () => 'port 7655 is in use',
  () => null,
);
needs(
  'a start without a configuration',
  process.execPath,
  () => usualPortIsTaken,
)('a start without a configuration', () => {
  test('watches this machine itself, and takes a configuration that is written later', async () => {
    running = await home.startBare();
    expect(running.stderr()).toMatch(/No configuration: watching this machine itself/);
    await stateIs(running, 'up', 'this-board');
    await openShop();
    home.configure(shopOnly(), undefined, 'data/rollcall.yaml');
    running.signal('SIGHUP');
    const url = `http://127.0.0.1:${home.port}/api/v1/services/shop`;
    await vi.waitFor(
      async () => expect((await (await fetch(url)).json()).state).toBe('up'),
      within,
    );
  });
});
