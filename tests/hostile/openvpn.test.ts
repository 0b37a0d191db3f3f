/** Bad peers where OpenVPN is expected: nothing that they send passes for an answer, hinders the true one, or takes long. */
import { randomBytes } from 'node:crypto';
import type { Socket } from 'node:net';
import { expect, test } from 'vitest';
import { finishMsMax, openvpnPacketBytesMax } from '../../src/base/limits.ts';
import { frame } from '../../src/probe/openvpn-packets.ts';
import { ask } from '../../src/probe/registry.ts';
import { openvpn } from '../../src/probe/settings/openvpn.ts';
import { datagramPeer } from '../support/datagram-peer.ts';
import { byteByByte } from '../support/decode.ts';
import { acknowledging, answerTo, sessionIn, staticKeyFile } from '../support/openvpn-server.ts';
import { context, drip, peer } from '../support/peer.ts';

const key = randomBytes(256);
const keyed = { tlsCrypt: { key: staticKeyFile(key) } };
const cover = { cipherKey: key.subarray(0, 32), hmacKey: key.subarray(64, 96) };
const timeoutMs = 400;

/** Everything that may come before the answer, and is none. */
function hostilities(opening: Buffer): readonly Buffer[] {
  const session = sessionIn(opening);
  const good = answerTo(session);
  return [
    ...Array.from({ length: 100 }, (_, length) => Buffer.alloc(length, 0x40)),
    ...[openvpnPacketBytesMax + 1, 9_000, 65_507].map((length) => randomBytes(length)),
    // A good beginning, and no end.
    Buffer.concat([good, Buffer.alloc(60_000)]),
    opening,
    answerTo(randomBytes(8)),
    answerTo(session, { opcode: 0x43 }),
    answerTo(session, { session: Buffer.alloc(8) }),
    answerTo(session, { body: Buffer.alloc(17) }),
    answerTo(session, { body: Buffer.concat([Buffer.of(255), Buffer.alloc(4), session]) }),
    answerTo(session, { body: acknowledging(session, Buffer.of(0, 1, 255, 255)) }),
    answerTo(session, { body: acknowledging(session, Buffer.of(0, 1, 0)) }),
    answerTo(randomBytes(8), { cover }),
    good.subarray(0, -1),
  ];
}

test.each([
  ['no key', {}],
  ['a key', keyed],
])(
  'with %s, no hostile datagram is an answer, and none hinders the true one',
  async (_name, more) => {
    for (const answers of [true, false]) {
      await using one = await datagramPeer((bytes, answer) => {
        const bad = hostilities(bytes);
        // In small portions: loopback drops what does not fit into the socket's buffer.
        const pour = (from: number) => {
          for (const one of bad.slice(from, from + 15)) answer(one);
          if (from + 15 < bad.length) setTimeout(pour, 5, from + 15);
          else if (answers) answer(answerTo(sessionIn(bytes), more === keyed ? { cover } : {}));
        };
        pour(0);
      });
      const settings = openvpn.schema.parse({
        kind: 'openvpn',
        host: '127.0.0.1',
        port: one.port,
        ...more,
      });
      const observation = await ask(settings, context({ timeoutMs: answers ? 5_000 : timeoutMs }));
      expect(observation.outcome).toBe(answers ? 'answered' : 'unproven');
    }
  },
);

test('a flood ends the listening, and makes the probe send no more than it would anyway', async () => {
  let isOver = false;
  await using one = await datagramPeer((_bytes, answer) => {
    const pour = () => {
      for (let nth = 0; nth < 30; nth++) answer(answerTo(randomBytes(8)));
      if (!isOver) setTimeout(pour, 1);
    };
    if (one.received.length === 1) pour();
  });
  const settings = openvpn.schema.parse({ kind: 'openvpn', host: '127.0.0.1', port: one.port });
  const observation = await ask(settings, context({ timeoutMs: 15_000 }));
  isOver = true;
  expect(observation).toMatchObject({
    outcome: 'unproven',
    trouble: { reason: 'silent', detail: expect.stringContaining('among all that came') },
  });
  // Long before the deadline: it has stopped listening.
  expect(observation.tookUs).toBeLessThan(12_000_000);
  expect(one.received).toHaveLength(1);
});

type Behave = (socket: Socket) => void;
const onceAsked =
  (answer: (opening: Buffer, socket: Socket) => Uint8Array | string | null): Behave =>
  (socket) =>
    void socket.once('data', (bytes) => {
      const given = answer(bytes.subarray(2), socket);
      if (given !== null) socket.write(given);
    });
const dripping: Behave = onceAsked((opening, socket) => {
  drip(socket, byteByByte([frame(answerTo(sessionIn(opening)))]), 100);
  return null;
});
const flooding: Behave = (socket) => {
  const zeros = Buffer.alloc(8_192);
  const flood = () => {
    while (!socket.destroyed && socket.write(zeros));
  };
  socket.on('drain', flood);
  flood();
};

const cases: readonly (readonly [name: string, behave: Behave, reason: string])[] = [
  ['says a length of 0', onceAsked(() => Buffer.alloc(2)), 'malformed'],
  ['says a length of 65535', onceAsked(() => Buffer.of(255, 255, 0x40)), 'malformed'],
  ['returns what it gets', onceAsked((opening) => frame(opening)), 'malformed'],
  ['answers somebody else', onceAsked(() => frame(answerTo(randomBytes(8)))), 'malformed'],
  [
    'answers with another number of the key',
    onceAsked((opening) => frame(answerTo(sessionIn(opening), { opcode: 0x41 }))),
    'malformed',
  ],
  ['drips a good answer', dripping, 'no-reply'],
  ['sends zeros for ever', flooding, 'malformed'],
  [
    'cuts the line in the middle of its answer',
    onceAsked((opening, socket) => {
      const half = frame(answerTo(sessionIn(opening))).subarray(0, 20);
      socket.write(half);
      setTimeout(() => socket.resetAndDestroy(), 20);
      return null;
    }),
    'reset',
  ],
  ['speaks HTTP', onceAsked(() => 'HTTP/1.1 400 Bad Request\r\n\r\n'), 'other-protocol'],
  ['speaks SSH', (socket) => void socket.write('SSH-2.0-x\r\n'), 'other-protocol'],
];

test.each(cases)('over TCP a peer that %s is failed in time', async (_name, behave, reason) => {
  await using one = await peer(behave);
  const begun = performance.now();
  const observation = await ask(
    openvpn.schema.parse({ kind: 'openvpn', host: '127.0.0.1', port: one.port, proto: 'tcp' }),
    context({ timeoutMs }),
  );
  expect(performance.now() - begun).toBeLessThan(timeoutMs + finishMsMax + 1_500);
  expect(observation).toMatchObject({ outcome: 'failed', trouble: { reason } });
  expect(await one.endings()).toHaveLength(1);
});
