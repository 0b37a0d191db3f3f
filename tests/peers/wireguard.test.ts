/** The `wireguard` probe against a real endpoint: wireguard-go in a network namespace of its own. */
import { randomBytes } from 'node:crypto';
import { createSocket } from 'node:dgram';
import { afterAll, beforeAll, expect, test, vi } from 'vitest';
import { pause } from '../../src/base/clock.ts';
import { realClock } from '../../src/base/clock-real.ts';
import { marked } from '../../src/demo/wireguard-responder.ts';
import { keepInMemory } from '../../src/probe/keep-in-memory.ts';
import type { ProbeContext } from '../../src/probe/probe.ts';
import { bytesOf, wireguard } from '../../src/probe/settings/wireguard.ts';
import { askWireguard } from '../../src/probe/wireguard.ts';
import { makePrivateKey, publicOf } from '../../src/probe/x25519.ts';
import { hurriedClock } from '../support/clock-hurried.ts';
import { context } from '../support/peer.ts';
import { needs } from '../support/peers.ts';
import {
  startWireguard,
  type WireguardServer,
  wireguardHindrance,
  wireguardProgram,
} from './support/wireguard.ts';

const suite = needs('wireguard-go', wireguardProgram, wireguardHindrance);

const newKeys = () => {
  const privateKey = makePrivateKey();
  return {
    privateKey: privateKey.toString('base64'),
    publicKey: publicOf(privateKey).toString('base64'),
  };
};

const settingsFor = (server: WireguardServer, privateKey: string, more: object = {}) =>
  wireguard.schema.parse({
    kind: 'wireguard',
    host: server.address,
    port: server.port,
    publicKey: server.publicKey,
    privateKey,
    ...more,
  });

suite('wireguard-go', () => {
  let server: WireguardServer;
  beforeAll(async () => {
    server = await startWireguard();
  });
  afterAll(() => server?.[Symbol.asyncDispose]());

  /** A peer of its own for each test: replays and rates are counted by key. */
  const peer = (presharedKey?: string) => {
    const keys = newKeys();
    server.peer(keys.publicKey, presharedKey);
    return keys;
  };
  const asked = (privateKey: string, more: object = {}, given: Partial<ProbeContext> = {}) =>
    askWireguard(settingsFor(server, privateKey, more), context(given));

  test('a configured peer is answered; the handshake goes no further', async () => {
    const { privateKey, publicKey } = peer();
    expect(await asked(privateKey)).toMatchObject({ outcome: 'answered', trouble: null });
    expect(server.seen(publicKey)).toMatchObject({
      // One initiation, one response; the handshake counts for the endpoint only after data.
      receivedBytes: 148,
      sentBytes: 92,
      latestHandshake: 0,
      allowedIps: '(none)',
      endpoint: expect.stringMatching(/^198\.1[89]\.\d+\.\d+:\d+$/),
    });
  });

  test('the preshared key must be the same on both sides', async () => {
    const presharedKey = randomBytes(32).toString('base64');
    const { privateKey } = peer(presharedKey);
    expect(await asked(privateKey, { presharedKey })).toMatchObject({ outcome: 'answered' });
    for (const other of [{}, { presharedKey: randomBytes(32).toString('base64') }]) {
      // The endpoint takes no two initiations of a key within 20 ms.
      await pause(realClock(), 25);
      expect(await asked(privateKey, other)).toMatchObject({
        outcome: 'limited',
        trouble: { layer: 'answer', reason: 'sign-in-refused' },
      });
    }
    const { privateKey: bare } = peer();
    expect(await asked(bare, { presharedKey })).toMatchObject({
      trouble: { reason: 'sign-in-refused' },
    });
  });

  test('an unknown peer, and a wrong key of the endpoint, meet silence', async () => {
    const given = { timeoutMs: 400 };
    const unproven = { outcome: 'unproven', trouble: { layer: 'port', reason: 'silent' } };
    expect(await asked(newKeys().privateKey, {}, given)).toMatchObject(unproven);
    const { privateKey } = peer();
    const wrong = { publicKey: newKeys().publicKey };
    expect(await asked(privateKey, wrong, given)).toMatchObject(unproven);
    expect(await asked(privateKey)).toMatchObject({ outcome: 'answered' });
  });

  test('a peer that is taken out and put in again is silent in between', async () => {
    const { privateKey, publicKey } = peer();
    expect((await asked(privateKey)).outcome).toBe('answered');
    server.forget(publicKey);
    expect((await asked(privateKey, {}, { timeoutMs: 300 })).outcome).toBe('unproven');
    server.peer(publicKey);
    expect((await asked(privateKey)).outcome).toBe('answered');
  });

  test('when it listens on another port, the one that is asked is closed', async () => {
    const { privateKey } = peer();
    server.listen(51_821);
    expect(await asked(privateKey)).toMatchObject({
      outcome: 'failed',
      trouble: { layer: 'port', reason: 'refused' },
    });
    expect((await asked(privateKey, { port: 51_821 })).outcome).toBe('answered');
    server.listen(server.port);
  });

  test('a router that refuses the way is named', async () => {
    const { privateKey } = peer();
    // RFC 5737 addresses behind the namespace, which refuses to pass anything on to them (ICMP 3/13).
    server.refuseWayTo('203.0.113.7');
    expect(await asked(privateKey, { host: '203.0.113.7' })).toMatchObject({
      outcome: 'failed',
      trouble: { layer: 'network', reason: 'rejected' },
    });
  });

  test('under load it wants its cookie back; then it answers', async () => {
    const { privateKey } = peer();
    const flood = await floodOf(server);
    try {
      const hasty = await asked(privateKey, {}, { timeoutMs: 5_000 });
      expect(hasty).toMatchObject({
        outcome: 'limited',
        trouble: { layer: 'answer', reason: 'under-load' },
      });
      expect(hasty.tookUs).toBeLessThan(3_000_000);
      const patient = await asked(privateKey, {}, { timeoutMs: 15_000 });
      expect(patient).toMatchObject({ outcome: 'answered', facts: { underLoad: true } });
      expect(patient.tookUs).toBeGreaterThan(5_000_000);
      // It was under load all the time: without the cookie nobody is answered.
      expect((await asked(privateKey)).trouble?.reason).toBe('under-load');
      // A cookie is handed out to whoever knows the endpoint; nobody else.
      const wrong = { publicKey: newKeys().publicKey };
      expect((await asked(privateKey, wrong, { timeoutMs: 400 })).outcome).toBe('unproven');
    } finally {
      await flood.stop();
    }
    await vi.waitFor(async () => expect((await asked(privateKey)).outcome).toBe('answered'), {
      timeout: 10_000,
      interval: 200,
    });
  });

  test('a clock that is set back makes no probe a replay, for the last stamp was kept', async () => {
    const { privateKey } = peer();
    const keep = keepInMemory();
    const hour = 3_600_000;
    const ahead = hurriedClock(1, hour);
    expect((await asked(privateKey, {}, { keep, clock: ahead })).outcome).toBe('answered');
    await pause(realClock(), 25);
    expect((await asked(privateKey, {}, { keep })).outcome).toBe('answered');
    await pause(realClock(), 25);

    // As after a restart: what this process remembers is gone.
    vi.resetModules();
    const again = await import('../../src/probe/wireguard.ts');
    const settings = settingsFor(server, privateKey);
    const forgetful = await again.askWireguard(settings, context({ timeoutMs: 400 }));
    expect(forgetful.outcome).toBe('unproven');
    vi.resetModules();
    const { askWireguard: askAfterRestart } = await import('../../src/probe/wireguard.ts');
    expect((await askAfterRestart(settings, context({ keep }))).outcome).toBe('answered');
  });

  test('a verbose log has two lines for each probe', async () => {
    const { privateKey } = peer();
    const response = 'Sending handshake response';
    const heard = (fromChar: number) =>
      vi.waitFor(() => expect(server.log().slice(fromChar)).toContain(response));
    const start = server.log().length;
    await asked(privateKey);
    await heard(start);
    await pause(realClock(), 25);
    const before = server.log().length;
    await asked(privateKey);
    await heard(before);
    const lines = server.log().slice(before).trimEnd().split('\n');
    expect(lines.map((line) => line.replace(/^.* - /, ''))).toEqual([
      'Received handshake initiation',
      response,
    ]);
  });

  test('a hundred probes leave bytes in two counters, and nothing in the log', async () => {
    await using quiet = await startWireguard('error');
    const { privateKey, publicKey } = newKeys();
    quiet.peer(publicKey);
    const settings = settingsFor(quiet, privateKey);
    const given = context();
    for (let count = 0; count < 100; count++) {
      expect((await askWireguard(settings, given)).outcome).toBe('answered');
      await pause(realClock(), 25);
    }
    expect(quiet.seen(publicKey)).toMatchObject({
      receivedBytes: 148 * 100,
      sentBytes: 92 * 100,
      latestHandshake: 0,
    });
    expect(quiet.log()).toBe('');
  });
});

/** Keeps the endpoint's queue of handshakes full: rubbish with a good mark, which anybody can make who knows its key. */
async function floodOf(server: WireguardServer): Promise<{ stop(): Promise<void> }> {
  const socket = createSocket('udp4');
  const rubbish = () =>
    marked(Buffer.concat([Buffer.of(1, 0, 0, 0), randomBytes(112)]), bytesOf(server.publicKey));
  const packets = Array.from({ length: 600 }, rubbish);
  let isOver = false;
  const pour = () => {
    if (isOver) return;
    for (const packet of packets) socket.send(packet, server.port, server.address);
    timer = setTimeout(pour, 100);
  };
  let timer = setTimeout(pour, 0);
  const cookie = new Promise((resolve) => socket.once('message', resolve));
  // The first cookie shows that it is under load.
  await cookie;
  return {
    stop: () =>
      new Promise((resolve) => {
        isOver = true;
        clearTimeout(timer);
        socket.close(() => resolve());
      }),
  };
}
