/** The board of the real process: who may read it over a restart and a reload, its stream, its second page, slow readers. */
import { once } from 'node:events';
import { readFileSync, statSync, writeFileSync } from 'node:fs';
import { createConnection, createServer, type Server, type Socket } from 'node:net';
import { join } from 'node:path';
import { afterEach, beforeEach, expect, test, vi } from 'vitest';
import { freePort, type Place, place, type Running } from './support/daemon.ts';

const within = { timeout: 20_000, interval: 50 };
const passphrase = 'slip and glaze';
const token = '0123456789abcdef0123456789abcdef';

let home: Place;
let running: Running | null;
let shop: Server;
let shopPort: number;
let householdPort: number;
const sockets: Socket[] = [];

beforeEach(async () => {
  home = await place();
  running = null;
  householdPort = await freePort();
  shopPort = await freePort();
  shop = createServer((socket) => socket.end());
  shop.listen(shopPort, '127.0.0.1');
  await once(shop, 'listening');
});
afterEach(async () => {
  for (const socket of sockets.splice(0)) socket.destroy();
  await running?.stop();
  if (shop.listening) shop.close();
  home.remove();
});

function configure(words = passphrase): void {
  writeFileSync(
    home.configFile,
    `board:
  title: Fernhill Pottery
  listen: "127.0.0.1:${home.port}"
  timezone: Europe/Dublin
  passphrase: ${words}
  tokens: [${token}]
household: { listen: "127.0.0.1:${householdPort}" }
defaults: { every: 1s, timeout: 900ms, recheck: 500ms, settle: 0s }
services: [{ name: Shop, probe: "tcp://127.0.0.1:${shopPort}", note: In the cellar. }]
`,
  );
}

async function start(): Promise<Running> {
  running = await home.start();
  return running;
}

/** The cookie of somebody who signed in. */
async function signIn({ url }: Running, words = passphrase): Promise<string> {
  const answer = await fetch(new URL('/sign-in', url), {
    method: 'POST',
    body: new URLSearchParams({ passphrase: words }),
    headers: { origin: new URL(url).origin },
    redirect: 'manual',
  });
  expect(answer.status).toBe(303);
  return (answer.headers.get('set-cookie') ?? '').split(';')[0] ?? '';
}

async function read({ url }: Running, headers: Record<string, string>): Promise<number> {
  const answer = await fetch(new URL('/', url), { headers });
  await answer.text();
  return answer.status;
}

test('a sign-in outlasts a restart, and ends with a passphrase that was changed', async () => {
  configure();
  const first = await start();
  const cookie = await signIn(first);
  expect(await read(first, { cookie })).toBe(200);
  expect(await read(first, {})).toBe(401);
  expect(await read(first, { authorization: `Bearer ${token}` })).toBe(200);
  const key = join(home.folder, 'data', 'board.key');
  expect([statSync(key).mode & 0o777, readFileSync(key).length]).toEqual([0o600, 32]);

  expect(await first.stop()).toEqual({ code: 0, signal: null });
  const second = await start();
  expect(await read(second, { cookie })).toBe(200);

  configure('another passphrase');
  second.signal('SIGHUP');
  await vi.waitFor(async () => expect(await read(second, { cookie })).toBe(401), within);
  expect(await read(second, { cookie: await signIn(second, 'another passphrase') })).toBe(200);
  const said = [first, second].flatMap((one) => [one.stdout(), one.stderr()]).join('\n');
  for (const secret of [passphrase, 'another passphrase', token, cookie.split('=')[1] ?? '?']) {
    expect(said).not.toContain(secret);
  }
});

test('health is heard without a sign-in, by a container and by the command', async () => {
  configure();
  const daemon = await start();
  await vi.waitFor(
    async () => expect((await daemon.json<{ status: string }>('/healthz')).status).toBe('pass'),
    within,
  );
  expect(Object.keys(await daemon.json('/healthz'))).toEqual(['status']);
  const command = await home.run('health');
  expect([command.code, JSON.parse(command.stdout).status]).toEqual([0, 'pass']);
});

test('the household reads names and states on an address of its own', async () => {
  configure();
  await start();
  const page = async () => (await fetch(`http://127.0.0.1:${householdPort}/`)).text();
  await vi.waitFor(async () => expect(await page()).toContain('<h1>Shop answers.</h1>'), within);
  expect(await page()).not.toMatch(new RegExp(`cellar|${shopPort}|tcp`));
  const other = await fetch(`http://127.0.0.1:${householdPort}/api/v1/services`);
  expect(other.status).toBe(404);
});

test('what happens comes over the stream, which ends with the daemon', async () => {
  configure();
  const daemon = await start();
  const stream = await fetch(new URL('/live', daemon.url), {
    headers: { authorization: `Bearer ${token}` },
  });
  let heard = '';
  const ended = (async () => {
    const decoder = new TextDecoder();
    for await (const chunk of stream.body ?? []) heard += decoder.decode(chunk, { stream: true });
  })();
  await vi.waitFor(() => expect(heard).toContain('event: observation'), within);
  shop.close();
  await vi.waitFor(
    () => expect(heard).toMatch(/event: change\ndata: \{"service":"shop","from":"up","to":"down"/),
    within,
  );
  expect(await daemon.stop()).toEqual({ code: 0, signal: null });
  // Ended, not broken off: the last event is whole.
  await ended;
  expect(heard.endsWith('\n\n')).toBe(true);
  running = null;
});

test('readers that send a letter now and then keep nobody out, and are shown the door', async () => {
  configure();
  const daemon = await start();
  const { hostname, port } = new URL(daemon.url);
  const slow = await Promise.all(
    Array.from({ length: 200 }, async () => {
      const socket = createConnection({ host: hostname, port: Number(port) });
      sockets.push(socket);
      await once(socket, 'connect');
      socket.on('error', () => {});
      socket.write('GET / HTTP/1.1\r\nHost: localhost\r\nX-Slow: ');
      const drip = setInterval(() => socket.write('x'), 500);
      let heard = '';
      socket.on('data', (chunk) => {
        heard += chunk.toString('latin1');
      });
      const closed = once(socket, 'close').then(() => clearInterval(drip));
      return { closed, heard: () => heard };
    }),
  );
  expect(await read(daemon, { authorization: `Bearer ${token}` })).toBe(200);
  await Promise.all(slow.map(({ closed }) => closed));
  // RFC 9110 §15.5.9: the request was not complete in time.
  expect(slow.map(({ heard }) => heard().slice(0, 12))).toEqual(Array(200).fill('HTTP/1.1 408'));
  expect(await read(daemon, { authorization: `Bearer ${token}` })).toBe(200);
});
