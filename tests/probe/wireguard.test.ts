/** The `wireguard` probe against endpoints on loopback, honest and hostile ones. */

import { randomBytes } from 'node:crypto';
import { createSocket } from 'node:dgram';
import { afterEach, expect, test } from 'vitest';
import { marked, type ReadInitiation, respond } from '../../src/demo/wireguard-responder.ts';
import { keepInMemory } from '../../src/probe/keep-in-memory.ts';
import { bytesOf, wireguard } from '../../src/probe/settings/wireguard.ts';
import { askWireguard, askWireguardWith } from '../../src/probe/wireguard.ts';
import { type Agree, agree, makePrivateKey, publicOf } from '../../src/probe/x25519.ts';
import { hurriedClock } from '../support/clock-hurried.ts';
import { closedDatagramPort, openSocketsCount } from '../support/datagram-peer.ts';
import { context } from '../support/peer.ts';
import {
  type Endpoint,
  handOut,
  underLoad,
  wireguardEndpoint,
} from '../support/wireguard-endpoint.ts';

const privateKey = makePrivateKey().toString('base64');
const ownPublic = publicOf(bytesOf(privateKey));

const settingsFor = (one: Pick<Endpoint, 'port' | 'publicKey'>, more: object = {}) =>
  wireguard.schema.parse({
    kind: 'wireguard',
    host: '127.0.0.1',
    port: one.port,
    publicKey: one.publicKey,
    privateKey,
    ...more,
  });

const socketsCount = openSocketsCount();
afterEach(() => expect.poll(openSocketsCount).toBe(socketsCount));

test('an endpoint that completes the handshake is answered, after one initiation', async () => {
  await using one = await wireguardEndpoint();
  const observation = await askWireguard(settingsFor(one), context());
  expect(observation).toMatchObject({ outcome: 'answered', trouble: null, facts: {} });
  expect(Object.keys(observation.phases)).toEqual(['speakUs', 'answerUs']);
  expect(one.received).toHaveLength(1);
  expect(one.initiations[0]?.peerPublic).toEqual(ownPublic);
});

test('with the same preshared key the handshake completes; with another the probe is at fault', async () => {
  const preshared = randomBytes(32);
  await using one = await wireguardEndpoint((initiation, answer) =>
    answer(respond(initiation, { preshared })),
  );
  const presharedKey = preshared.toString('base64');
  expect(await askWireguard(settingsFor(one, { presharedKey }), context())).toMatchObject({
    outcome: 'answered',
  });
  const others = [{}, { presharedKey: randomBytes(32).toString('base64') }];
  for (const other of others) {
    expect(await askWireguard(settingsFor(one, other), context())).toMatchObject({
      outcome: 'limited',
      trouble: {
        layer: 'answer',
        reason: 'sign-in-refused',
        detail: `127.0.0.1:${one.port} answers the probe, but with another preshared key than its own`,
        hint: expect.stringContaining('PresharedKey'),
      },
    });
  }
});

test('a forged answer does not win against the true one behind it', async () => {
  await using one = await wireguardEndpoint((initiation, answer) => {
    answer(respond(initiation, { preshared: randomBytes(32) }));
    answer(respond(initiation));
  });
  expect(await askWireguard(settingsFor(one), context())).toMatchObject({ outcome: 'answered' });
});

test('silence proves nothing, and the hint names the key that the endpoint should know', async () => {
  await using one = await wireguardEndpoint(() => {});
  const presharedKey = randomBytes(32).toString('base64');
  const settings = settingsFor(one, { presharedKey });
  const observation = await askWireguard(settings, context({ timeoutMs: 150 }));
  expect(observation).toMatchObject({
    outcome: 'unproven',
    trouble: {
      layer: 'port',
      reason: 'silent',
      hint: expect.stringContaining(ownPublic.toString('base64')),
    },
  });
  const said = JSON.stringify(observation);
  expect(said).not.toContain(privateKey);
  expect(said).not.toContain(presharedKey);
});

test('a closed port is refused', async () => {
  const one = {
    port: await closedDatagramPort(),
    publicKey: publicOf(makePrivateKey()).toString('base64'),
  };
  expect(await askWireguard(settingsFor(one), context())).toMatchObject({
    outcome: 'failed',
    trouble: { layer: 'port', reason: 'refused' },
  });
});

test('a lost packet is made up for by another initiation five seconds later, where there is time', async () => {
  await using one = await wireguardEndpoint((initiation, answer, { nth }) => {
    if (nth === 3) answer(respond(initiation));
  });
  const clock = hurriedClock(10);
  const observation = await askWireguard(settingsFor(one), context({ clock, timeoutMs: 19_000 }));
  expect(observation.outcome).toBe('answered');
  expect(observation.tookUs).toBeGreaterThanOrEqual(10_000_000);
  const [first, second, third] = one.initiations.map(({ stamp }) => stamp);
  expect(first! < second! && second! < third!).toBe(true);
});

test('an answer to an initiation before the last is as good', async () => {
  let earlier: ReadInitiation | null = null;
  await using one = await wireguardEndpoint((initiation, answer, { nth }) => {
    if (nth === 1) earlier = initiation;
    else if (earlier) answer(respond(earlier));
  });
  const given = context({ clock: hurriedClock(10), timeoutMs: 14_000 });
  expect((await askWireguard(settingsFor(one), given)).outcome).toBe('answered');
});

test('an endpoint under load answers who shows its cookie, from the same port, a turn later', async () => {
  await using one = await wireguardEndpoint(underLoad());
  const given = context({ clock: hurriedClock(10), timeoutMs: 14_000 });
  const observation = await askWireguard(settingsFor(one), given);
  expect(observation).toMatchObject({ outcome: 'answered', facts: { underLoad: true } });
  expect(observation.tookUs).toBeGreaterThanOrEqual(5_000_000);
  expect(one.initiations).toHaveLength(2);
  expect(one.initiations[0]?.mac2).toEqual(Buffer.alloc(16));
  expect(new Set(one.received.map(({ from }) => from.port)).size).toBe(1);
});

test('an endpoint under load is limited at once where there is no time for another turn', async () => {
  await using one = await wireguardEndpoint(underLoad());
  const observation = await askWireguard(settingsFor(one), context({ timeoutMs: 5_000 }));
  expect(observation).toMatchObject({
    outcome: 'limited',
    trouble: {
      layer: 'answer',
      reason: 'under-load',
      detail: `127.0.0.1:${one.port} is under load and hands out cookies first`,
    },
  });
  expect(observation.tookUs).toBeLessThan(3_000_000);
  expect(one.initiations).toHaveLength(1);
});

test('an endpoint that is silent after its cookie is under load, and asked no faster', async () => {
  await using one = await wireguardEndpoint((initiation, answer, { nth, ownPublic: key }) => {
    if (nth === 1) answer(handOut(randomBytes(16), initiation, { ownPublic: key }));
  });
  const given = context({ clock: hurriedClock(10), timeoutMs: 8_000 });
  expect(await askWireguard(settingsFor(one), given)).toMatchObject({
    outcome: 'limited',
    trouble: { detail: expect.stringContaining('has not answered 2 initiations') },
  });
  expect(one.initiations).toHaveLength(2);
});

test('an answer from another address of the endpoint counts, and is named', async () => {
  const other = createSocket('udp4');
  await new Promise<void>((resolve) => other.bind(0, '127.0.0.2', resolve));
  await using one = await wireguardEndpoint((initiation, _answer, { from }) =>
    other.send(respond(initiation), from.port, from.address),
  );
  const observation = await askWireguard(settingsFor(one), context());
  expect(observation).toMatchObject({
    outcome: 'answered',
    facts: { answeredFrom: `127.0.0.2:${other.address().port}` },
  });
  await new Promise<void>((resolve) => other.close(() => resolve()));
});

/** Everything that a peer may throw at the probe before it answers. */
function hostilities(initiation: ReadInitiation, earlier: readonly Buffer[]): readonly Buffer[] {
  const head = Buffer.concat([Buffer.of(2, 0, 0, 0), randomBytes(4), initiation.senderIndex]);
  const good = respond(initiation);
  const bigEndian = Buffer.concat([Buffer.of(0, 0, 0, 2), good.subarray(4)]);
  const anotherIndex = Buffer.from(good);
  anotherIndex.writeUInt32LE((anotherIndex.readUInt32LE(8) + 1) % 2 ** 32, 8);
  const ours = { senderIndex: initiation.senderIndex, mac1: randomBytes(16) };
  const keyOf = Buffer.alloc(32, 3);
  return [
    ...Array.from({ length: 200 }, (_, length) => Buffer.alloc(length, 2)),
    ...[149, 1_400, 9_000, 65_507].map((length) => randomBytes(length)),
    // The right index and rubbish; then with a good mark over a key that belongs to nobody.
    Buffer.concat([head, randomBytes(80)]),
    marked(Buffer.concat([head, Buffer.alloc(32), randomBytes(16)]), ownPublic),
    ...earlier,
    // The endpoint may want a handshake of its own, or send data.
    Buffer.concat([Buffer.of(1, 0, 0, 0), randomBytes(144)]),
    Buffer.concat([Buffer.of(4, 0, 0, 0), initiation.senderIndex, Buffer.alloc(24)]),
    // A cookie for another initiation, and one sealed by somebody who does not know the endpoint.
    handOut(randomBytes(16), ours, { ownPublic: keyOf }),
    bigEndian,
    anotherIndex,
    good.subarray(0, 91),
    Buffer.concat([good, Buffer.of(0)]),
  ];
}

test('no hostile reply hinders the true one, and none is taken for it', async () => {
  const earlier: Buffer[] = [];
  await using one = await wireguardEndpoint((initiation, answer, { nth }) => {
    const good = respond(initiation);
    // In small portions: loopback drops what does not fit into the socket's buffer.
    const portions = hostilities(initiation, earlier);
    const pour = (from: number) => {
      for (const bytes of portions.slice(from, from + 20)) answer(bytes);
      if (from + 20 < portions.length) setTimeout(pour, 5, from + 20);
      else if (nth <= 2) answer(good);
    };
    pour(0);
    earlier.push(good);
  });
  for (const _ of [1, 2]) {
    expect(await askWireguard(settingsFor(one), context())).toMatchObject({ outcome: 'answered' });
  }
  expect(await askWireguard(settingsFor(one), context({ timeoutMs: 700 }))).toMatchObject({
    outcome: 'unproven',
  });
});

function counting(): { readonly agreeOn: Agree; readonly count: () => number } {
  let calls = 0;
  return {
    agreeOn: (own, other) => {
      calls += 1;
      return agree(own, other);
    },
    count: () => calls,
  };
}

test.each([
  ['without our mark', (head: Buffer) => Buffer.concat([head, randomBytes(80)]), 0, 'unproven'],
  // Two agreements for each of the three answers that are tried.
  [
    'with our mark',
    (head: Buffer) => marked(Buffer.concat([head, randomBytes(48)]), ownPublic),
    6,
    'limited',
  ],
])(
  'a flood of forged answers %s costs at most three tries',
  async (_name, forge, agreements, outcome) => {
    await using one = await wireguardEndpoint((initiation, answer) => {
      const head = Buffer.concat([Buffer.of(2, 0, 0, 0), randomBytes(4), initiation.senderIndex]);
      const pour = (count: number) => {
        for (let nth = 0; nth < 50; nth++) answer(forge(head));
        if (count < 2_000) setTimeout(pour, 2, count + 50);
      };
      pour(0);
    });
    const counted = counting();
    const asked = askWireguardWith(counted.agreeOn)(
      settingsFor(one),
      context({ timeoutMs: 1_000 }),
    );
    expect((await asked).outcome).toBe(outcome);
    expect(counted.count()).toBe(agreements);
  },
);

test('after more than is looked at the probe ends, and does not ask again at once', async () => {
  let isOver = false;
  await using one = await wireguardEndpoint((_initiation, answer) => {
    const pour = () => {
      for (let nth = 0; nth < 100; nth++) answer(Buffer.alloc(92, 2));
      if (!isOver) setImmediate(pour);
    };
    pour();
  });
  const observation = await askWireguard(settingsFor(one), context({ timeoutMs: 15_000 }));
  isOver = true;
  expect(observation.outcome).toBe('unproven');
  expect(observation.tookUs).toBeLessThan(10_000_000);
  expect(one.received).toHaveLength(1);
});

test('two probes with one key at once send two different stamps', async () => {
  await using one = await wireguardEndpoint();
  const keep = keepInMemory();
  const settings = settingsFor(one, { privateKey: makePrivateKey().toString('base64') });
  await Promise.all([1, 2, 3].map(() => askWireguard(settings, context({ keep }))));
  expect(new Set(one.initiations.map(({ stamp }) => stamp)).size).toBe(3);
});

test('stamps grow on when the clock is set back, and the last is kept under a name that tells no key', async () => {
  await using one = await wireguardEndpoint();
  const settings = settingsFor(one, { privateKey: makePrivateKey().toString('base64') });
  const stopped = new Map<string, string>();
  const keep = {
    read: async (key: string) => stopped.get(key) ?? null,
    write: async (key: string, value: string) => void stopped.set(key, value),
  };
  const day = 24 * 3_600_000;
  for (const wallAheadMs of [0, -day, -2 * day, day, 0]) {
    const given = context({ clock: hurriedClock(1, wallAheadMs), keep });
    expect((await askWireguard(settings, given)).outcome).toBe('answered');
  }
  const stamps = one.initiations.map(({ stamp }) => stamp);
  expect(stamps).toEqual([...stamps].sort());
  expect(new Set(stamps).size).toBe(5);
  expect([...stopped.values()]).toEqual([stamps.at(-1)]);
  const written = [...stopped.keys()].join();
  const own = bytesOf(settings.privateKey);
  for (const key of [own, publicOf(own)]) {
    expect(written).not.toContain(key.toString('base64'));
    expect(written).not.toContain(key.toString('hex'));
  }
});

test('a record that cannot be read or written does not stop the watch', async () => {
  await using one = await wireguardEndpoint();
  const broken = async () => {
    throw new Error('the disk is full');
  };
  const given = context({ keep: { read: broken, write: broken } });
  expect((await askWireguard(settingsFor(one), given)).outcome).toBe('answered');
});
