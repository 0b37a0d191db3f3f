/** The `ikev2` probe against responders on loopback that answer as a test wants. */
import { randomBytes } from 'node:crypto';
import { afterEach, expect, test } from 'vitest';
import { askIkev2 } from '../../src/probe/ikev2.ts';
import { ikev2 } from '../../src/probe/settings/ikev2.ts';
import { hurriedClock } from '../support/clock-hurried.ts';
import { closedDatagramPort, datagramPeer, openSocketsCount } from '../support/datagram-peer.ts';
import { acceptance, notify, response, spiIn, vendorId } from '../support/ike-responder.ts';
import { context } from '../support/peer.ts';

/** Without the marker, though the port is not 500: a test cannot have that. */
const settingsFor = (port: number, more: object = {}) =>
  ikev2.schema.parse({ kind: 'ikev2', host: '127.0.0.1', port, marker: 'no', ...more });

const socketsCount = openSocketsCount();
afterEach(() => expect.poll(openSocketsCount).toBe(socketsCount));

const asked = async (parts: Parameters<typeof response>[1], given = context()) => {
  await using one = await datagramPeer((bytes, answer) => answer(response(spiIn(bytes), parts)));
  return await askIkev2(settingsFor(one.port), given);
};

test.each([
  [notify(14), { reply: 'NO_PROPOSAL_CHOSEN' }],
  [notify(5), { reply: 'INVALID_MAJOR_VERSION' }],
  [notify(7), { reply: 'INVALID_SYNTAX' }],
  [notify(24), { reply: 'AUTHENTICATION_FAILED' }],
  [notify(17, Buffer.of(0, 14)), { reply: 'INVALID_KE_PAYLOAD', wantedGroup: 14 }],
  [notify(16_390, randomBytes(24)), { reply: 'COOKIE', cookie: true }],
  [notify(8_192), { reply: 'error 8192' }],
])('each answer proves a live responder: $body', async (part, facts) => {
  const observation = await asked([part]);
  expect(observation).toMatchObject({ outcome: 'answered', trouble: null });
  expect(observation.facts).toEqual(facts);
  expect(Object.keys(observation.phases)).toEqual(['speakUs', 'answerUs']);
});

test('a responder that accepts everything is a responder', async () => {
  expect((await asked(acceptance)).facts).toEqual({ reply: 'IKE_SA_INIT' });
});

test('vendor ids are told, in letters where they are some, a few of them, cut', async () => {
  const ids = [
    Buffer.from('882fe56d6fd20dbc2251613b2ebe5beb', 'hex'),
    Buffer.from('KILN-GATE'),
    Buffer.from('<b>a very long name of a gateway</b>'),
    ...Array.from({ length: 20 }, () => Buffer.alloc(3)),
  ];
  const { facts } = await asked([notify(14), ...ids.map(vendorId)]);
  expect(facts['vendorIds']).toBe(
    '882fe56d6fd20dbc2251613b2ebe5beb, KILN-GATE, <b>a very long n…, 000000, 000000',
  );
});

test('the marker goes before, and is wanted back, on every port but 500', async () => {
  const marker = Buffer.alloc(4);
  const plain: boolean[] = [];
  for (const isMarked of [true, false]) {
    await using one = await datagramPeer((bytes, answer) => {
      plain.push(!bytes.subarray(0, 4).equals(marker));
      const good = response(spiIn(bytes.subarray(4)), [notify(14)]);
      answer(isMarked ? Buffer.concat([marker, good]) : good);
    });
    const settings = settingsFor(one.port, { marker: 'auto' });
    const observation = await askIkev2(settings, context({ timeoutMs: isMarked ? 5_000 : 200 }));
    expect(observation.outcome).toBe(isMarked ? 'answered' : 'unproven');
  }
  expect(plain).toEqual([false, false]);
});

test('silence proves nothing, and the hint speaks of the marker', async () => {
  await using one = await datagramPeer(() => {});
  const given = context({ timeoutMs: 100 });
  for (const [marker, said] of [
    ['yes', 'with the marker'],
    ['no', 'without the marker'],
  ]) {
    expect(await askIkev2(settingsFor(one.port, { marker }), given)).toMatchObject({
      outcome: 'unproven',
      trouble: { layer: 'port', reason: 'silent', hint: expect.stringContaining(said!) },
    });
  }
});

test('a closed port is refused', async () => {
  const observation = await askIkev2(settingsFor(await closedDatagramPort()), context());
  expect(observation).toMatchObject({ outcome: 'failed', trouble: { reason: 'refused' } });
});

test('a lost request is sent again, the same', async () => {
  let count = 0;
  await using one = await datagramPeer((bytes, answer) => {
    count += 1;
    if (count === 2) answer(response(spiIn(bytes), [notify(14)]));
  });
  const given = context({ clock: hurriedClock(10), timeoutMs: 5_000 });
  const observation = await askIkev2(settingsFor(one.port), given);
  expect(observation.outcome).toBe('answered');
  expect(observation.tookUs).toBeGreaterThanOrEqual(2_000_000);
  const [first, second] = one.received.map(({ bytes }) => bytes.toString('hex'));
  // RFC 7296 §2.1: a retransmission is bitwise identical
  expect(second).toBe(first);
});

test('a broken answer is malformed, unless a good one follows', async () => {
  expect(await asked([])).toMatchObject({
    outcome: 'failed',
    trouble: { layer: 'protocol', reason: 'malformed' },
  });
  await using one = await datagramPeer((bytes, answer) => {
    answer(response(spiIn(bytes), []));
    answer(response(spiIn(bytes), [notify(14)]));
  });
  expect((await askIkev2(settingsFor(one.port), context())).outcome).toBe('answered');
});

test('requests have an SPI, a key and a nonce of their own', async () => {
  await using one = await datagramPeer((bytes, answer) =>
    answer(response(spiIn(bytes), [notify(14)])),
  );
  for (const _ of [1, 2]) await askIkev2(settingsFor(one.port), context());
  const [first, second] = one.received.map(({ bytes }) => bytes);
  for (const [from, to] of [
    [0, 8],
    [80, 112],
    [116, 148],
  ]) {
    expect(first?.subarray(from, to)).not.toEqual(second?.subarray(from, to));
  }
});
