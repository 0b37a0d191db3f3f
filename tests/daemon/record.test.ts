/** The record of the real process: backed up, looked through, damaged, taken away; and what the owner hears of it. */
import {
  existsSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  renameSync,
  rmSync,
  writeFileSync,
} from 'node:fs';
import { createServer, type Server } from 'node:net';
import { join } from 'node:path';
import { afterEach, beforeEach, expect, test, vi } from 'vitest';
import { freePort, type Place, place, type Running } from './support/daemon.ts';
import { type Receiver, receiver, webhookSecret } from './support/receiver.ts';

interface ServiceJson {
  readonly id: string;
  readonly state: string;
  readonly since: string | null;
}
interface HealthJson {
  readonly status: string;
  readonly serviceId: string;
  readonly notes: readonly string[];
}

const within = { timeout: 20_000, interval: 50 };

let home: Place;
let told: Receiver;
let running: Running | null;
let shop: Server;
let backups: string;
let data: string;

beforeEach(async () => {
  home = await place();
  told = await receiver();
  running = null;
  data = join(home.folder, 'data');
  backups = join(home.folder, 'backups');
  mkdirSync(backups);
  const port = await freePort();
  shop = createServer((socket) => socket.end());
  await new Promise<void>((done) => shop.listen(port, '127.0.0.1', done));
  home.configure(
    [
      `services: [{ name: Shop, probe: "tcp://127.0.0.1:${port}" }]`,
      `tell: [{ name: phone, webhook: "${told.url}", secret: "${webhookSecret}" }]`,
      `record: { backup: { to: ${backups}, days: 2, weeks: 0 } }`,
    ].join('\n'),
  );
});
afterEach(async () => {
  await running?.stop();
  await new Promise((done) => shop.close(done));
  await told.close();
  home.remove();
});

async function start(): Promise<Running> {
  running = await home.start();
  await vi.waitFor(async () => expect((await shopNow()).state).toBe('up'), within);
  return running;
}

async function shopNow(): Promise<ServiceJson> {
  if (!running) throw new Error('no daemon runs');
  const { services } = await running.json<{ services: ServiceJson[] }>('/api/v1/services');
  const [found] = services;
  if (!found) throw new Error('no service');
  return found;
}

const health = (): Promise<HealthJson> => {
  if (!running) throw new Error('no daemon runs');
  return running.json<HealthJson>('/healthz');
};

async function killed(): Promise<void> {
  running?.signal('SIGKILL');
  await running?.ended;
  running = null;
}

test('a backup is made by the daemon where one runs, else from the record as it lies there', async () => {
  await start();
  const here = join(home.folder, 'here.db');
  const byDaemon = await home.run('backup', here);
  expect(byDaemon).toMatchObject({ code: 0, stderr: expect.stringContaining('By the daemon') });
  expect(byDaemon.stdout).toContain(here);

  const nightly = await home.run('backup');
  expect(nightly.code).toBe(0);
  expect(readdirSync(backups)).toEqual([expect.stringMatching(/^rollcall-\d{4}-\d{2}-\d{2}\.db$/)]);

  const nowhere = await home.run('backup', join(home.folder, 'not', 'there.db'));
  expect(nowhere).toMatchObject({ code: 1, stderr: expect.stringContaining('is not there') });

  await running?.stop();
  const there = join(home.folder, 'there.db');
  const direct = await home.run('backup', there);
  expect(direct).toMatchObject({ code: 0, stderr: expect.stringContaining('No daemon runs') });
  expect(existsSync(there)).toBe(true);
  const unknown = await home.run('backup', '--data', join(home.folder, 'nothing'));
  expect(unknown).toMatchObject({ code: 2, stderr: expect.stringContaining('no daemon has kept') });
});

test('the record is looked through beside the daemon, and without one', async () => {
  await start();
  const found = await home.run('record', 'check');
  expect(found).toMatchObject({ code: 0, stderr: '' });
  expect(found.stdout).toContain('all that is said follows from them');
  await running?.stop();
  const json = await home.run('record', 'check', '--json');
  expect(JSON.parse(json.stdout)).toMatchObject({ sound: true, servicesCount: 1 });

  const path = join(data, 'rollcall.db');
  const bytes = readFileSync(path);
  const place = bytes.lastIndexOf('"fingerprint"');
  bytes[place + 2] = 0x46;
  writeFileSync(path, bytes);
  const damaged = await home.run('record', 'check');
  expect(damaged).toMatchObject({
    code: 1,
    stdout: expect.stringContaining('changed since written'),
  });
});

test('a record that was damaged while nobody ran is replaced at the start, said and told, and nothing is forgotten', async () => {
  await start();
  const { since } = await shopNow();
  const { serviceId } = await health();
  expect((await home.run('backup')).code).toBe(0);
  await killed();
  writeFileSync(join(data, 'rollcall.db'), 'rubbish '.repeat(4_000));
  rmSync(join(data, 'rollcall.db-wal'), { force: true });

  await start();
  await vi.waitFor(async () => {
    const { notes } = await health();
    expect(notes).toContainEqual(expect.stringContaining('was found damaged'));
  }, within);
  const said = await health();
  expect(said).toMatchObject({ status: 'warn', serviceId });
  expect(said.notes.join(' ')).toMatch(/The backup rollcall-.*\.db took its place/);
  // What was answered before the backup is part of the record still.
  const { points } = await running!.json<{ points: { at: string }[] }>(
    `/api/v1/services/shop/observations?from=${since}`,
  );
  expect(points[0]?.at).toBe(since);
  await vi.waitFor(
    () =>
      expect(told.delivered().filter(({ type }) => type === 'rollcall.self.trouble')).toMatchObject(
        [{ data: { about: 'damage', summary: expect.stringContaining('was found damaged') } }],
      ),
    within,
  );
  const page = await (await fetch(running?.url ?? '')).text();
  expect(page).toContain('was found damaged');
  const check = await home.run('record', 'check');
  expect({ code: check.code, out: check.stdout }).toMatchObject({ code: 0 });
});

test('a file that is taken away while it is used is written anew at the next group', async () => {
  await start();
  renameSync(join(data, 'rollcall.db'), join(home.folder, 'taken.db'));
  // A backup writes what waits, and so looks for the file.
  await vi.waitFor(async () => {
    expect((await home.run('backup', join(home.folder, 'again.db'))).code).toBe(0);
  }, within);
  expect(existsSync(join(data, 'rollcall.db'))).toBe(true);
  await vi.waitFor(async () => {
    expect((await health()).notes).toContainEqual(expect.stringContaining('found removed'));
  }, within);
  expect((await running?.stop())?.code).toBe(0);
  running = null;
  expect((await home.run('record', 'check')).code).toBe(0);
});
