/** `rollcall plan` against the real process: through the daemon, into the record where none runs, and what it refuses. */
import { createServer, type Server } from 'node:net';
import { afterEach, beforeEach, expect, test, vi } from 'vitest';
import { freePort, type Place, place, type Running } from './support/daemon.ts';
import { type Receiver, receiver, webhookSecret } from './support/receiver.ts';

const within = { timeout: 20_000, interval: 50 };

let home: Place;
let told: Receiver;
let running: Running | null;
let shop: Server | null;
let port: number;

beforeEach(async () => {
  home = await place();
  told = await receiver();
  running = null;
  port = await freePort();
  await open();
  home.configure(
    [
      'services:',
      `  - { name: Shop, group: Studio, probe: "tcp://127.0.0.1:${port}" }`,
      `  - { name: Kiln, probe: "tcp://127.0.0.1:${port}" }`,
      `tell: [{ name: phone, webhook: "${told.url}", secret: "${webhookSecret}", only: { changes: [planned, down, up] } }]`,
    ].join('\n'),
  );
});
afterEach(async () => {
  await running?.stop();
  await shut();
  await told.close();
  home.remove();
});

async function open(): Promise<void> {
  const server = createServer((socket) => socket.on('error', () => {}).end());
  await new Promise<void>((done) => server.listen(port, '127.0.0.1', done));
  shop = server;
}
async function shut(): Promise<void> {
  const server = shop;
  shop = null;
  if (server) await new Promise((done) => server.close(done));
}

interface PlannedJson {
  readonly running: readonly {
    readonly why: string | null;
    readonly services: readonly string[] | null;
    readonly from: string;
    readonly to: string;
  }[];
  readonly past: readonly object[];
}
const planned = (daemon: Running) => daemon.json<PlannedJson>('/api/v1/planned');
const state = async (daemon: Running, wanted: string) =>
  vi.waitFor(
    async () => expect(await daemon.json('/api/v1/services/shop')).toMatchObject({ state: wanted }),
    within,
  );

test('a daemon runs: nothing is told of an outage within, and what outlives the end is told then', async () => {
  const daemon = await home.start();
  running = daemon;
  await state(daemon, 'up');
  const ran = await home.run('plan', '45m', '--group', 'Studio', '--why', 'New disk');
  expect(ran).toMatchObject({ code: 0, stderr: '' });
  expect(ran.stdout).toMatch(/^Planned until \S+.* \(Europe\/Dublin\): Shop\./);
  const { running: windows } = await planned(daemon);
  expect(windows).toMatchObject([{ why: 'New disk', services: ['shop'] }]);
  const [window] = windows;
  expect(Date.parse(window?.to ?? '') - Date.parse(window?.from ?? '')).toBe(45 * 60_000);
  const types = () => told.delivered().map(({ type }) => type);
  await vi.waitFor(() => expect(types()).toEqual(['rollcall.planned.began']), within);

  await shut();
  await state(daemon, 'down');
  // Kiln is not planned: when its outage was told, that of Shop would have been as well.
  await vi.waitFor(() => expect(types()).toContain('rollcall.service.down'), within);
  expect(await home.run('plan', '--end')).toMatchObject({
    code: 0,
    stdout: 'Ended: Planned work, on Shop.\n',
  });
  await vi.waitFor(() => expect(types()).toHaveLength(4), within);
  const shopsOwn = told.delivered().filter(({ subject }) => subject === 'shop');
  expect(shopsOwn.map(({ data }) => data.summary)).toEqual([
    expect.stringContaining('The planned time is over: Shop is still down'),
  ]);
  expect(types()).toContain('rollcall.planned.ended');
});

test('none runs: the next daemon finds it in the record, and tells it', async () => {
  const config = ['--config', home.configFile];
  const ran = await home.run('plan', '2h', '--service', 'Kiln', ...config);
  expect(ran).toMatchObject({ code: 0, stderr: expect.stringContaining('No daemon runs on') });
  running = await home.start();
  expect(await planned(running)).toMatchObject({ running: [{ why: null, services: ['kiln'] }] });
  await vi.waitFor(
    () => expect(told.delivered().map(({ type }) => type)).toEqual(['rollcall.planned.began']),
    within,
  );
  await running.stop();
  const ended = await home.run('plan', '--end', ...config);
  expect(ended).toMatchObject({ code: 0, stdout: 'Ended: Planned work, on Kiln.\n' });
  running = await home.start();
  const found = await planned(running);
  expect([found.running.length, found.past.length]).toEqual([0, 1]);
});

test('a schedule that is read by a reload holds from then on; taken away, what has begun goes on; the report knows', async () => {
  const daemon = await home.start();
  running = daemon;
  await state(daemon, 'up');
  const services = `services: [{ name: Shop, probe: "tcp://127.0.0.1:${port}" }]`;
  home.configure(
    `${services}\nplanned: [{ name: Always, schedule: "* * * * *", lasts: 5m, services: [shop] }]`,
  );
  daemon.signal('SIGHUP');
  const count = async () =>
    (await daemon.json<{ counts: { planned: number } }>('/api/v1/roll')).counts.planned;
  await vi.waitFor(async () => expect(await count()).toBe(1), within);
  home.configure(services);
  daemon.signal('SIGHUP');
  await vi.waitFor(
    () => expect(daemon.stderr().match(/Configuration read again/g)).toHaveLength(2),
    within,
  );
  expect(await count()).toBe(1);
  const { running: windows } = await planned(daemon);
  expect(windows.length).toBeGreaterThan(0);
  await daemon.stop();
  const config = ['--config', home.configFile];
  const { stdout } = await home.run('report', '--format', 'json', ...config);
  const report = JSON.parse(stdout) as {
    services: { availability: { plannedMs: number; upMs: number } }[];
  };
  expect(report.services[0]?.availability.plannedMs).toBeGreaterThan(0);
});

test.each([
  [[], 'expected a duration'],
  [['soon'], 'expected a duration'],
  [['1s'], 'a minute at least'],
  [['9d'], 'seven days at most'],
  [['1h', '--service', 'shp'], 'did you mean `shop`?'],
  [['1h', '--group', 'Data'], 'no group `Data`'],
  [['--end'], 'No planned window runs now.'],
])('%j is refused as a wrong use, with a daemon and without', async (args, text) => {
  const without = await home.run('plan', ...args, '--config', home.configFile);
  expect(without).toMatchObject({ code: 2, stdout: '', stderr: expect.stringContaining(text) });
  running = await home.start();
  const ran = await home.run('plan', ...args);
  expect(ran).toMatchObject({ code: 2, stdout: '', stderr: expect.stringContaining(text) });
});
