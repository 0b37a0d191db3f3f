/** The `openvpn` probe against servers on loopback that answer as a test wants. */
import { randomBytes } from 'node:crypto';
import { createSocket } from 'node:dgram';
import type { Socket } from 'node:net';
import { afterEach, expect, test } from 'vitest';
import { askOpenvpn } from '../../src/probe/openvpn.ts';
import { frame } from '../../src/probe/openvpn-packets.ts';
import { openvpn } from '../../src/probe/settings/openvpn.ts';
import { hurriedClock } from '../support/clock-hurried.ts';
import { closedDatagramPort, datagramPeer, openSocketsCount } from '../support/datagram-peer.ts';
import { answerTo, type ServerCover, sessionIn, staticKeyFile } from '../support/openvpn-server.ts';
import { closedPort, context, peer } from '../support/peer.ts';

const key = randomBytes(256);
const staticKey = staticKeyFile(key);
const tlsAuth = { key: staticKey };
const tlsCrypt = { key: staticKey };
/** What a server has that has the same key, and direction 0 or none. */
const signed: ServerCover = { auth: 'sha1', hmacKey: key.subarray(64, 84) };

const settingsFor = (port: number, more: object = {}) =>
  openvpn.schema.parse({ kind: 'openvpn', host: '127.0.0.1', port, ...more });
const tcpFor = (port: number, more: object = {}) => settingsFor(port, { proto: 'tcp', ...more });

/** A quarter of the second for which the port is kept. */
const soon = () => context({ clock: hurriedClock(4), timeoutMs: 20_000 });

const socketsCount = openSocketsCount();
afterEach(() => expect.poll(openSocketsCount, { timeout: 3_000 }).toBe(socketsCount));

test('a server that answers is answered, after one packet and without an acknowledgement', async () => {
  await using one = await datagramPeer((bytes, answer) => answer(answerTo(sessionIn(bytes))));
  const observation = await askOpenvpn(settingsFor(one.port), soon());
  expect(observation).toMatchObject({
    outcome: 'answered',
    trouble: null,
    facts: { mode: 'none' },
  });
  expect(Object.keys(observation.phases)).toEqual(['speakUs', 'answerUs']);
  expect(one.received.map(({ bytes }) => bytes.length)).toEqual([14]);
});

test('the clock of a server is told where its key vouches for it', async () => {
  const clock = hurriedClock(1, -5_000);
  await using one = await datagramPeer((bytes, answer) =>
    answer(
      answerTo(sessionIn(bytes), {
        cover: signed,
        serverTimeS: Math.floor(clock.wallMs() / 1_000) + 90,
      }),
    ),
  );
  const { facts } = await askOpenvpn(settingsFor(one.port, { tlsAuth }), context({ clock }));
  expect(facts['mode']).toBe('tls-auth');
  expect(Math.abs(Number(facts['clockAheadS']) - 90)).toBeLessThanOrEqual(1);
});

test('silence proves nothing, and the hint names what may be amiss with the key', async () => {
  await using one = await datagramPeer(() => {});
  for (const [more, hint] of [
    [{}, 'tls-auth or tls-crypt'],
    [{ tlsAuth }, 'another key, direction'],
  ] as const) {
    const observation = await askOpenvpn(settingsFor(one.port, more), context({ timeoutMs: 100 }));
    expect(observation).toMatchObject({
      outcome: 'unproven',
      trouble: { layer: 'port', reason: 'silent', hint: expect.stringContaining(hint) },
    });
    expect(JSON.stringify(observation)).not.toContain(key.toString('hex').slice(0, 32));
  }
});

test('a closed port is refused', async () => {
  const observation = await askOpenvpn(settingsFor(await closedDatagramPort()), soon());
  expect(observation).toMatchObject({ outcome: 'failed', trouble: { reason: 'refused' } });
});

test('a lost packet is sent again after two and six seconds, the same each time', async () => {
  let count = 0;
  await using one = await datagramPeer((bytes, answer) => {
    count += 1;
    if (count === 3) answer(answerTo(sessionIn(bytes)));
  });
  const given = context({ clock: hurriedClock(10), timeoutMs: 9_000 });
  const observation = await askOpenvpn(settingsFor(one.port), given);
  expect(observation.outcome).toBe('answered');
  expect(observation.tookUs).toBeGreaterThanOrEqual(6_000_000);
  expect(new Set(one.received.map(({ bytes }) => bytes.toString('hex'))).size).toBe(1);
});

test('an answer with our session, but not by our key, is the trouble of the probe', async () => {
  const asked = async (more: object, cover?: ServerCover) => {
    await using one = await datagramPeer((bytes, answer) =>
      answer(answerTo(sessionIn(bytes), cover && { cover })),
    );
    return await askOpenvpn(settingsFor(one.port, more), soon());
  };
  const refused = (detail: string) => ({
    outcome: 'limited',
    trouble: {
      layer: 'answer',
      reason: 'sign-in-refused',
      detail: expect.stringContaining(detail),
    },
  });
  const other: ServerCover = { auth: 'sha1', hmacKey: randomBytes(20) };
  expect(await asked({ tlsAuth }, other)).toMatchObject(refused('not made with the key'));
  const zero = { tlsAuth: { ...tlsAuth, direction: 0 } };
  expect(await asked(zero, signed)).toMatchObject(refused('`direction` differs'));
  expect(await asked({ tlsCrypt })).toMatchObject(refused('without any key'));
});

test('a forged answer does not win against the true one behind it', async () => {
  await using one = await datagramPeer((bytes, answer) => {
    answer(answerTo(sessionIn(bytes)));
    answer(answerTo(sessionIn(bytes), { cover: signed }));
  });
  const observation = await askOpenvpn(settingsFor(one.port, { tlsAuth }), soon());
  expect(observation.outcome).toBe('answered');
});

test('the port stays open for a second, so that a late answer meets no closed one', async () => {
  let late = () => {};
  const connected = createSocket('udp4');
  const errors: unknown[] = [];
  connected.on('error', (error) => errors.push(error));
  connected.once('message', (bytes, from) => {
    connected.send(answerTo(sessionIn(bytes)), from.port, from.address);
    // As a server that holds a session: an ICMP error would come back to this socket.
    late = () => connected.connect(from.port, from.address, () => connected.send('late'));
  });
  await new Promise<void>((resolve) => connected.bind(0, '127.0.0.1', resolve));
  const { port } = connected.address();

  const observation = await askOpenvpn(settingsFor(port), context());
  expect(observation.tookUs).toBeLessThan(900_000);
  const held = openSocketsCount();
  late();
  await expect.poll(openSocketsCount, { timeout: 3_000 }).toBe(held - 1);
  expect(errors).toEqual([]);

  await new Promise<void>((resolve) => connected.close(resolve));
});

test('the end of the daemon does not wait for the port', async () => {
  const stop = new AbortController();
  await using one = await datagramPeer((bytes, answer) => answer(answerTo(sessionIn(bytes))));
  const before = openSocketsCount();
  const given = context({ signal: stop.signal });
  expect((await askOpenvpn(settingsFor(one.port), given)).outcome).toBe('answered');
  expect(openSocketsCount()).toBe(before + 1);
  stop.abort();
  await expect.poll(openSocketsCount, { timeout: 500 }).toBe(before);
});

const overTcp = (answer: (opening: Buffer) => Buffer) => (socket: Socket) =>
  void socket.once('data', (bytes) => socket.write(frame(answer(bytes.subarray(2)))));

test('over TCP a server that answers is answered, after one packet', async () => {
  await using one = await peer(overTcp((opening) => answerTo(sessionIn(opening))));
  expect(await askOpenvpn(tcpFor(one.port), soon())).toMatchObject({
    outcome: 'answered',
    facts: { mode: 'none' },
  });
  expect(await one.endings()).toEqual(['fin']);
  expect(one.received()).toHaveLength(2 + 14);
});

test('over TCP silence is no reply, and a closed port refused', async () => {
  await using one = await peer(() => {});
  expect(await askOpenvpn(tcpFor(one.port), context({ timeoutMs: 200 }))).toMatchObject({
    outcome: 'failed',
    trouble: { layer: 'protocol', reason: 'no-reply' },
  });
  const closed = await askOpenvpn(tcpFor(await closedPort()), soon());
  expect(closed.trouble?.reason).toBe('refused');
});

test('a server that closes at our key refuses it; who closes anyway has no server behind', async () => {
  const atOurs = (socket: Socket) => void socket.once('data', () => socket.end());
  const anyway = (socket: Socket) => void setTimeout(() => socket.end(), 5);
  const asked = async (behave: (socket: Socket) => void, more: object) => {
    await using one = await peer(behave);
    const observation = await askOpenvpn(tcpFor(one.port, more), soon());
    return { observation, connections: one.connectionsCount() };
  };
  const early = {
    outcome: 'failed',
    trouble: { layer: 'protocol', reason: 'closed-early', hint: expect.any(String) },
  };
  expect(await asked(atOurs, { tlsCrypt })).toMatchObject({
    observation: { outcome: 'limited', trouble: { layer: 'answer', reason: 'sign-in-refused' } },
    connections: 2,
  });
  expect(await asked(anyway, { tlsCrypt })).toMatchObject({ observation: early, connections: 2 });
  for (const behave of [atOurs, anyway]) {
    const { observation, connections } = await asked(behave, {});
    expect(observation).toMatchObject(early);
    expect(observation.trouble?.hint).toContain('give the probe its key');
    expect(connections).toBe(1);
  }
});

test('when the daemon stops while a key is doubted, nothing is held against the key', async () => {
  const stop = new AbortController();
  await using one = await peer((socket) => {
    if (one.connectionsCount() === 1) socket.once('data', () => socket.end());
    else stop.abort();
  });
  const given = context({ signal: stop.signal });
  const observation = await askOpenvpn(tcpFor(one.port, { tlsCrypt }), given);
  expect(observation.trouble?.reason).toBe('closed-early');
});
