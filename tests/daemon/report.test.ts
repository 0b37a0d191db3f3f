/** `rollcall report` against the real process: through the daemon, from the record that it left, and what it refuses. */
import { createServer, type Server } from 'node:net';
import { csvParse } from 'd3-dsv';
import { afterEach, beforeEach, expect, test, vi } from 'vitest';
import { freePort, type Place, place, type Running } from './support/daemon.ts';

const within = { timeout: 20_000, interval: 50 };

let home: Place;
let running: Running | null;
let shop: Server;

beforeEach(async () => {
  home = await place();
  running = null;
  const port = await freePort();
  shop = createServer((socket) => socket.on('error', () => {}).end());
  await new Promise<void>((resolve) => shop.listen(port, '127.0.0.1', resolve));
  home.configure(
    `services: [{ name: Shop, group: Studio, probe: "tcp://127.0.0.1:${port}", objective: 99% }]`,
  );
});
afterEach(async () => {
  await running?.stop();
  await new Promise((resolve) => shop.close(resolve));
  home.remove();
});

interface ReportJson {
  readonly over: boolean;
  readonly until: string;
  readonly services: readonly {
    readonly id: string;
    readonly availability: { readonly upMs: number; readonly unobservedMs: number };
  }[];
}

test('a daemon runs: it reports; none runs: the record is read up to where it ends', async () => {
  running = await home.start();
  const daemon = running;
  await vi.waitFor(
    async () => expect(await daemon.json('/api/v1/services/shop')).toMatchObject({ state: 'up' }),
    within,
  );
  const through = await home.run('report', '--format', 'json');
  expect(through).toMatchObject({ code: 0, stderr: expect.stringContaining('From the daemon') });
  const told = JSON.parse(through.stdout) as ReportJson;
  expect(told).toMatchObject({ over: false, services: [{ id: 'shop' }] });
  expect(told.services[0]?.availability.upMs).toBeGreaterThan(0);

  const text = await home.run('report');
  expect(text.stdout).toContain('Fernhill Pottery');
  expect(text.stdout).toContain('Shop: 100 %');
  const table = await home.run('report', '--format', 'csv');
  expect(csvParse(table.stdout).map(({ kind }) => kind)).toEqual(['service', 'group', 'all']);

  await running.stop();
  const config = ['--config', home.configFile];
  const left = await home.run('report', '--format', 'json', ...config);
  expect(left).toMatchObject({ code: 0, stderr: expect.stringContaining('No daemon runs on') });
  const kept = JSON.parse(left.stdout) as ReportJson;
  const again = await home.run('report', '--format', 'json', ...config);
  const later = JSON.parse(again.stdout) as ReportJson;
  // Time goes on, and nobody watches it.
  expect(Date.parse(later.until)).toBeGreaterThan(Date.parse(kept.until));
  const [first, second] = [kept, later].map(({ services }) => services[0]?.availability);
  expect(second?.upMs).toBe(first?.upMs);
  expect(second?.unobservedMs).toBeGreaterThan(first?.unobservedMs ?? 0);
});

test.each([
  [['--month', '2026-13'], 'expected a month'],
  [['--month', '2999-01'], 'has not begun yet'],
  [['--format', 'pdf'], 'expected one of text, json, html, csv'],
  [[], 'no daemon has kept a record'],
])('without a daemon %j is refused as a wrong use', async (args, text) => {
  const ran = await home.run('report', '--config', home.configFile, ...args);
  expect(ran).toMatchObject({ code: 2, stdout: '', stderr: expect.stringContaining(text) });
});

test('a running daemon refuses a wrong month as well', async () => {
  running = await home.start();
  const ran = await home.run('report', '--month', '2999-01');
  expect(ran).toMatchObject({ code: 2, stderr: expect.stringContaining('has not begun yet') });
});
