/**
 * The daemon against the truth: real PostgreSQL, HTTPS and TCP servers that a script stops, hangs and starts, and a
 * board that is asked every second. It may be late by the stated detection delay, and never wrong beyond it.
 * Ten minutes, or ROLLCALL_SOAK_MS.
 */
import { execFileSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { createServer as createHttps, type Server as HttpsServer } from 'node:https';
import { createServer as createTcp, type Socket, type Server as TcpServer } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { freePort, type Place, place, type Running } from '../daemon/support/daemon.ts';
import { makePostgres, type Postgres, postgresProgram } from '../peers/support/postgres.ts';
import { needs } from '../support/peers.ts';

const soakMs = Number(process.env['ROLLCALL_SOAK_MS'] ?? 600_000);

// As configured below; the detection delay that the service's page states, and one poll more.
const everyMs = 2_000;
const timeoutMs = 1_000;
const recheckMs = 500;
const pollMs = 1_000;
/** A loaded test machine: the poll itself, the probe's start and the socket's end take their time. */
const marginMs = 750;
const noticedDownMs = everyMs + 2 * timeoutMs + recheckMs + marginMs;
const noticedUpMs = everyMs + timeoutMs + marginMs;

interface Actor {
  readonly id: string;
  start(): Promise<void>;
  /** Ways of not serving. */
  readonly breaks: readonly (() => Promise<void> | void)[];
}

/** What is so, with the span in which a transition was under way. */
interface Truth {
  serving: boolean;
  changingSince: number | null;
  since: number;
}

interface Said {
  readonly at: number;
  readonly id: string;
  readonly state: string;
  readonly contradicts: string | null;
}

let home: Place;
let daemon: Running;
let certificates: string;
let postgres: Postgres;
const ends: (() => Promise<void> | void)[] = [];

function httpsActor(port: number): Actor {
  const options = {
    key: readFileSync(join(certificates, 'key.pem')),
    cert: readFileSync(join(certificates, 'cert.pem')),
  };
  let server: HttpsServer | null = null;
  let hung = false;
  ends.push(() => void server?.closeAllConnections());
  return {
    id: 'shop',
    start: async () => {
      hung = false;
      if (server) return;
      const opened = createHttps(options, (_request, response) => {
        if (!hung) response.end('The kiln is cold.');
      });
      server = opened;
      await new Promise<void>((resolve) => opened.listen(port, '127.0.0.1', resolve));
    },
    breaks: [
      () => {
        hung = true;
      },
      () => {
        server?.closeAllConnections();
        server?.close();
        server = null;
      },
    ],
  };
}

function tcpActor(port: number): Actor {
  const sockets = new Set<Socket>();
  let server: TcpServer | null = null;
  let mute = false;
  const drop = () => {
    for (const socket of sockets) socket.destroy();
  };
  ends.push(drop);
  return {
    id: 'kiln-logger',
    start: async () => {
      mute = false;
      if (server) return;
      const opened = createTcp((socket) => {
        sockets.add(socket.on('error', () => {}).on('close', () => sockets.delete(socket)));
        if (!mute) socket.write('ready\r\n');
      });
      server = opened;
      await new Promise<void>((resolve) => opened.listen(port, '127.0.0.1', resolve));
    },
    breaks: [
      () => {
        mute = true;
      },
      () => {
        server?.close();
        drop();
        server = null;
      },
    ],
  };
}

function postgresActor(): Actor {
  let hung = false;
  let stopped = true;
  return {
    id: 'order-book',
    start: async () => {
      if (hung) postgres.cont();
      if (stopped) await postgres.start();
      hung = false;
      stopped = false;
    },
    breaks: [
      () => {
        postgres.hang();
        hung = true;
      },
      async () => {
        stopped = true;
        await postgres.stop();
      },
    ],
  };
}

beforeAll(async () => {
  home = await place();
  certificates = mkdtempSync(join(tmpdir(), 'rollcall-soak-'));
  const request = [
    'req',
    '-x509',
    '-newkey',
    'ec',
    '-pkeyopt',
    'ec_paramgen_curve:P-256',
    '-nodes',
  ];
  const subject = [
    '-subj',
    '/CN=shop.fernhill.home.arpa',
    '-addext',
    'subjectAltName=DNS:shop.fernhill.home.arpa',
  ];
  const files = ['-keyout', join(certificates, 'key.pem'), '-out', join(certificates, 'cert.pem')];
  execFileSync('openssl', [...request, ...subject, ...files, '-days', '7'], { stdio: 'ignore' });
});
afterAll(async () => {
  await daemon?.stop();
  for (const end of ends) await end();
  home.remove();
  rmSync(certificates, { recursive: true, force: true });
});

needs('postgresql-15', postgresProgram)('ten minutes of truth', () => {
  test(
    'the board never contradicts what is so, beyond the stated delay',
    async () => {
      postgres = await makePostgres();
      ends.push(async () => void (await postgres[Symbol.asyncDispose]()));
      const httpsPort = await freePort();
      const tcpPort = await freePort();
      const actors = [postgresActor(), httpsActor(httpsPort), tcpActor(tcpPort)];
      for (const actor of actors) await actor.start();
      home.configure(
        `services:
  - { name: Order book, probe: "postgres://127.0.0.1:${postgres.port}" }
  - name: Shop
    probe: { kind: http, url: "https://shop.fernhill.home.arpa/", connect: "127.0.0.1:${httpsPort}", certificate: { trust: "file:${join(certificates, 'cert.pem')}" }, expect: { text: kiln } }
  - { name: Kiln logger, probe: { kind: tcp, host: 127.0.0.1, port: ${tcpPort}, expect: ready } }`,
        `every: ${everyMs}ms, timeout: ${timeoutMs}ms, recheck: ${recheckMs}ms, settle: 0s`,
      );
      daemon = await home.start();
      await new Promise((resolve) => setTimeout(resolve, 5_000));

      const endsAt = Date.now() + soakMs;
      const truths = new Map<string, Truth>(
        actors.map(({ id }) => [id, { serving: true, changingSince: null, since: Date.now() }]),
      );
      const scripts = actors.map((actor, nth) =>
        play(actor, truths.get(actor.id) as Truth, { endsAt, nth }),
      );
      const said: Said[] = [];
      while (Date.now() < endsAt) {
        const nextAt = Date.now() + pollMs;
        said.push(...(await poll(truths)));
        await new Promise((resolve) => setTimeout(resolve, Math.max(nextAt - Date.now(), 0)));
      }
      await Promise.all(scripts);

      expect(said.filter(({ contradicts }) => contradicts !== null)).toEqual([]);
      // It was no idle script: each service was seen both ways.
      for (const { id } of actors) {
        const states = new Set(said.filter((one) => one.id === id).map(({ state }) => state));
        expect([...states]).toEqual(expect.arrayContaining(['up', 'down']));
      }
      const polls = said.length / actors.length;
      console.log(`${polls} polls, ${[...truths].length} services, no contradiction`);
      expect(polls).toBeGreaterThan((soakMs / pollMs) * 0.8);
    },
    soakMs + 120_000,
  );
});

/** Breaks and mends a service in turn, each way of breaking after the other, with uneven pauses. */
async function play(
  actor: Actor,
  truth: Truth,
  given: { endsAt: number; nth: number },
): Promise<void> {
  for (let turn = 0; Date.now() < given.endsAt; turn++) {
    await rest(given.endsAt, 9_000 + ((turn * 7 + given.nth * 5) % 11) * 1_000);
    await change(truth, false, () => actor.breaks[turn % actor.breaks.length]?.());
    await rest(given.endsAt, 8_000 + ((turn * 5 + given.nth * 3) % 9) * 1_000);
    await change(truth, true, () => actor.start());
  }
}

async function change(
  truth: Truth,
  serving: boolean,
  act: () => Promise<void> | void | undefined,
): Promise<void> {
  truth.changingSince = Date.now();
  await act();
  truth.serving = serving;
  truth.since = Date.now();
  truth.changingSince = null;
}

function rest(endsAt: number, ms: number): Promise<void> {
  return new Promise((resolve) =>
    setTimeout(resolve, Math.max(Math.min(ms, endsAt - Date.now()), 0)),
  );
}

/** Compares what the board says with what was so all the time since it had to have noticed. */
async function poll(truths: ReadonlyMap<string, Truth>): Promise<Said[]> {
  const before = new Map([...truths].map(([id, truth]) => [id, { ...truth }]));
  const { services } = await daemon.json<{ services: { id: string; state: string }[] }>(
    '/api/v1/services',
  );
  const at = Date.now();
  return services.map(({ id, state }) => {
    const truth = before.get(id);
    const changed = truthChanged(truth, truths.get(id));
    return {
      at,
      id,
      state,
      contradicts: truth && !changed ? contradiction(state, truth, at) : null,
    };
  });
}

function truthChanged(before: Truth | undefined, now: Truth | undefined): boolean {
  return (
    before?.since !== now?.since || before?.changingSince !== null || now?.changingSince !== null
  );
}

function contradiction(state: string, truth: Truth, at: number): string | null {
  const servingSaid = state === 'up' || state === 'degraded';
  const lateMs = at - truth.since;
  if (state === 'unobserved') return 'nobody knows, though it was asked';
  if (truth.serving === servingSaid) return null;
  const allowedMs = truth.serving ? noticedUpMs : noticedDownMs;
  return lateMs > allowedMs
    ? `${state} ${lateMs} ms after it was ${truth.serving ? 'mended' : 'broken'}`
    : null;
}
