/**
 * Bad peers where a SQL Server is expected. Whatever they do, the probe ends within its deadline, says failed, throws
 * nothing, and leaves no connection open; one that turns it away is asked once more, with TLS first.
 */
import type { Socket } from 'node:net';
import { afterAll, expect, test } from 'vitest';
import { finishMsMax } from '../../src/base/limits.ts';
import { ask } from '../../src/probe/registry.ts';
import { tds } from '../../src/probe/settings/tds.ts';
import { encodePacket } from '../../src/probe/tds-messages.ts';
import { byteByByte } from '../support/decode.ts';
import { fixture } from '../support/fixtures.ts';
import { context, drip, peer } from '../support/peer.ts';
import { errorAnswer, preloginAnswer, resultType } from '../support/tds-server.ts';

const timeoutMs = 400;
/** Beyond the deadline: two goodbyes, and the slack of a busy machine. */
const slackMs = 2 * finishMsMax + 1_500;

type Behave = (socket: Socket) => void;
type Case = readonly [name: string, behave: Behave, reason: string];

const hex = (digits: string) => Buffer.from(digits.replace(/\s/g, ''), 'hex');
const good = Buffer.concat(fixture('tds', 'server-2012'));
const answering =
  (bytes: Uint8Array | string): Behave =>
  (socket) =>
    void socket.once('data', () => socket.write(bytes));
const atOnce =
  (bytes: Uint8Array | string): Behave =>
  (socket) =>
    void socket.write(bytes);

const partThen =
  (countBytes: number, then: (socket: Socket) => void): Behave =>
  (socket) =>
    void socket.once('data', () => {
      if (countBytes > 0) socket.write(good.subarray(0, countBytes));
      setTimeout(() => then(socket), 20);
    });

const forever =
  (bytes: Uint8Array): Behave =>
  (socket) => {
    const flood = () => {
      while (!socket.destroyed && socket.write(bytes));
    };
    socket.on('drain', flood);
    flood();
  };

/** A packet that says that another follows, over and over. */
const neverLast = encodePacket(resultType, Buffer.alloc(100));
neverLast.writeUInt8(0, 1);

const peers: readonly Case[] = [
  ['accepts and stays silent', () => {}, 'no-reply'],
  [
    'drips a good answer',
    (socket) => void socket.once('data', () => drip(socket, byteByByte([good]), 50)),
    'no-reply',
  ],
  ...[0, 1, 3, 8, 20, good.length - 1].flatMap((count): Case[] => [
    [`closes after ${count} bytes`, partThen(count, (socket) => socket.end()), 'closed-early'],
    [
      `cuts the line after ${count} bytes`,
      partThen(count, (socket) => socket.resetAndDestroy()),
      'reset',
    ],
  ]),
  ['closes at once', (socket) => socket.end(), 'closed-early'],
  ['claims 65535 bytes', answering(hex('0401ffff 00000100')), 'malformed'],
  ['claims 0 bytes', answering(hex('04010000 00000100')), 'malformed'],
  ['claims 7 bytes', answering(hex('04010007 00000100')), 'malformed'],
  ['writes lengths little-endian', answering(hex('04012b00 00000100')), 'malformed'],
  ['points outside', answering(preloginAnswer([[0x00, hex('0b000bb8')]])), 'malformed'],
  [
    'lists 200 options without an end',
    answering(encodePacket(resultType, Buffer.alloc(1_000, 1))),
    'malformed',
  ],
  ['never sends its last packet', answering(Buffer.concat(Array(9).fill(neverLast))), 'malformed'],
  ['returns what it gets', (socket) => void socket.pipe(socket), 'malformed'],
  ['speaks HTTP', answering('HTTP/1.1 400 Bad Request\r\n\r\n'), 'other-protocol'],
  ['speaks SSH', atOnce('SSH-2.0-OpenSSH_9.2\r\n'), 'other-protocol'],
  ['speaks SMTP', atOnce('220 mail.fernhill.home.arpa ESMTP\r\n'), 'other-protocol'],
  [
    'answers every question with a TLS alert',
    answering(hex('15 0301 0002 0246')),
    'other-protocol',
  ],
  ['sends zeros for ever', forever(Buffer.alloc(8_192)), 'malformed'],
  ['sends packets for ever', forever(Buffer.concat(Array(80).fill(neverLast))), 'malformed'],
  [
    'sends an error longer than itself',
    answering(encodePacket(resultType, hex('aa 0800 5c480000 01 0e ffff 4100'))),
    'malformed',
  ],
];

const unhandled: unknown[] = [];
const note = (error: unknown) => unhandled.push(error);
process.on('uncaughtException', note).on('unhandledRejection', note);
afterAll(() => {
  process.off('uncaughtException', note).off('unhandledRejection', note);
  expect(unhandled).toEqual([]);
});

test.each(peers)('a peer that %s is failed in time', async (_name, behave, reason) => {
  await using one = await peer(behave);
  const begun = performance.now();
  const observation = await ask(
    tds.schema.parse({ kind: 'tds', host: '127.0.0.1', port: one.port }),
    context({ timeoutMs }),
  );
  expect(performance.now() - begun).toBeLessThan(timeoutMs + slackMs);
  expect(observation).toMatchObject({ outcome: 'failed', trouble: { reason } });
  // Every connection has ended from our side too, or this would never resolve.
  expect((await one.endings()).length).toBeLessThanOrEqual(2);
});

test('a peer that never finishes the handshake of TLS is failed in time', async () => {
  await using one = await peer(() => {});
  const begun = performance.now();
  const observation = await ask(
    tds.schema.parse({ kind: 'tds', host: '127.0.0.1', port: one.port, encryption: 'strict' }),
    context({ timeoutMs }),
  );
  expect(performance.now() - begun).toBeLessThan(timeoutMs + slackMs);
  expect(observation).toMatchObject({ outcome: 'failed', trouble: { reason: 'no-reply' } });
});

test('text that attacks arrives stripped, bounded and in one piece', async () => {
  const attack = `\u001b]0;owned\u0007\r\n<script>alert(1)</script>\u202e${'A'.repeat(1_800)}`;
  await using one = await peer(answering(errorAnswer(1, attack)));
  const { trouble } = await ask(
    tds.schema.parse({ kind: 'tds', host: '127.0.0.1', port: one.port }),
    context({ timeoutMs }),
  );
  expect(trouble?.detail).toMatch(/^it says “\]0;owned <script>alert\(1\)<\/script> A+…/);
  expect(trouble?.detail.length).toBeLessThanOrEqual(400);
});
