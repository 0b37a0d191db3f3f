/**
 * Bad peers where MySQL is expected. Whatever they do, the probe ends within its deadline, says failed, throws nothing,
 * gives nothing away, and leaves no connection open.
 */
import type { Socket } from 'node:net';
import { afterAll, expect, test } from 'vitest';
import { finishMsMax } from '../../src/base/limits.ts';
import { encodePacket } from '../../src/probe/mysql-messages.ts';
import { ask } from '../../src/probe/registry.ts';
import { mysql } from '../../src/probe/settings/mysql.ts';
import { byteByByte } from '../support/decode.ts';
import {
  errorPacket,
  greeting,
  greetingWith,
  okPacket,
  scripted,
  switchTo,
} from '../support/mysql-server.ts';
import { context, drip, peer } from '../support/peer.ts';

const timeoutMs = 400;
/** Beyond the deadline: the goodbye, and the slack of a busy machine. */
const slackMs = finishMsMax + 1_500;

type Behave = (socket: Socket) => void;
type Case = readonly [name: string, behave: Behave, reason: string];

const hex = (digits: string) => Buffer.from(digits.replace(/\s/g, ''), 'hex');
const atOnce =
  (bytes: Uint8Array | string): Behave =>
  (socket) =>
    void socket.write(bytes);

/** Sends part of a good greeting, then does something to the connection. */
const partThen =
  (countBytes: number, then: (socket: Socket) => void): Behave =>
  (socket) => {
    if (countBytes > 0) socket.write(greeting.subarray(0, countBytes));
    setTimeout(() => then(socket), 20);
  };

/** An entry of a script that closes and sends nothing. */
const closing = (_received: Buffer, socket: Socket) => {
  socket.end();
  return Buffer.alloc(0);
};

/** Writes as fast as it is taken. */
const forever =
  (first: Uint8Array, bytes: Uint8Array): Behave =>
  (socket) => {
    const flood = () => {
      while (!socket.destroyed && socket.write(bytes));
    };
    socket.on('drain', flood);
    socket.write(first);
    flood();
  };

/** Asks for one more sign-in after each answer; the sequence is right. */
const endlessSwitch: Behave = (socket) => {
  let sequence = 2;
  socket.write(greeting);
  socket.on('data', () => {
    socket.write(switchTo(sequence, 'mysql_native_password', 'x'.repeat(21)));
    sequence += 2;
  });
};

const peers: readonly Case[] = [
  ['accepts and stays silent', () => {}, 'no-reply'],
  ['drips a good greeting', (socket) => drip(socket, byteByByte([greeting]), 50), 'no-reply'],
  ...[0, 1, 3, 4, 52, greeting.length - 1].flatMap((count): Case[] => [
    [`closes after ${count} bytes`, partThen(count, (socket) => socket.end()), 'closed-early'],
    [
      `cuts the line after ${count} bytes`,
      partThen(count, (socket) => socket.resetAndDestroy()),
      'reset',
    ],
  ]),
  ['greets and stays silent', scripted([]), 'no-reply'],
  ['closes at the sign-in', scripted([closing]), 'closed-early'],
  ['claims a packet of 16 MiB', atOnce(hex('ffffff 00')), 'malformed'],
  ['claims an empty packet', atOnce(hex('000000 00')), 'malformed'],
  ['writes lengths big-endian', atOnce(hex('000064 00 0a')), 'malformed'],
  ['begins with the sequence 7', atOnce(hex('64000007 0a')), 'malformed'],
  ['greets in version 9', atOnce(encodePacket(0, hex('09 352e3100 01000000'))), 'malformed'],
  ['has no end of its version', atOnce(encodePacket(0, Buffer.alloc(400, 0x0a))), 'malformed'],
  ['sends an error without its code', atOnce(hex('02000000 ff 10')), 'malformed'],
  ['greets twice', atOnce(Buffer.concat([greeting, greeting])), 'malformed'],
  [
    'puts an error behind its greeting',
    atOnce(Buffer.concat([greeting, errorPacket(2, 1_053, 'no')])),
    'shutting-down',
  ],
  ['answers the sign-in with the wrong sequence', scripted([okPacket(7)]), 'malformed'],
  ['answers the sign-in with the greeting', scripted([greeting]), 'malformed'],
  ['asks for one sign-in after another', endlessSwitch, 'malformed'],
  [
    'returns what it gets',
    (socket) => void socket.on('data', (bytes) => socket.write(bytes)),
    'no-reply',
  ],
  ['greets and returns what it gets', scripted([(bytes) => bytes]), 'malformed'],
  ['speaks SSH', atOnce('SSH-2.0-OpenSSH_9.2\r\n'), 'other-protocol'],
  ['speaks SMTP', atOnce('220 mail.fernhill.home.arpa ESMTP\r\n'), 'other-protocol'],
  ['speaks HTTP', atOnce('HTTP/1.1 400 Bad Request\r\n\r\n'), 'other-protocol'],
  ['speaks NATS', atOnce('INFO {"server_id":"x"}\r\n'), 'other-protocol'],
  ['speaks TLS', atOnce(hex('15 0301 0002 0246')), 'other-protocol'],
  ['sends zeros for ever', forever(hex('00'), Buffer.alloc(8_192)), 'malformed'],
  ['never ends its version', forever(hex('ff3f00 00 0a'), Buffer.alloc(8_192, 0x41)), 'malformed'],
];

const withAccount: readonly Case[] = [
  ['lets in and says no more', scripted([okPacket(2)]), 'no-reply'],
  ['lets in and closes', scripted([okPacket(2), closing]), 'closed-early'],
  [
    'asks for a file in place of an answer',
    scripted([okPacket(2), encodePacket(1, Buffer.from('\xfb/etc/passwd', 'latin1'))]),
    'malformed',
  ],
  ['counts 65535 columns', scripted([okPacket(2), hex('03000001 fcffff')]), 'malformed'],
  ['returns the question', scripted([okPacket(2), (bytes) => bytes]), 'malformed'],
  [
    'puts bytes between greeting and TLS',
    atOnce(Buffer.concat([tlsGreeting(), okPacket(2)])),
    'malformed',
  ],
  ['offers TLS and speaks plain', scripted([okPacket(2)], tlsGreeting()), 'handshake-failed'],
  ['offers TLS and closes', scripted([closing], tlsGreeting()), 'handshake-failed'],
  [
    'sends endless words for a sign-in',
    forever(greetingWith('caching_sha2_password'), encodePacket(2, Buffer.alloc(200, 1))),
    'malformed',
  ],
];

/** The captured greeting with its bit for TLS set. */
function tlsGreeting(): Buffer {
  const bytes = Buffer.from(greeting);
  const at = bytes.indexOf(hex('fef708'));
  bytes.writeUInt16LE(bytes.readUInt16LE(at) | 0x0800, at);
  return bytes;
}

const unhandled: unknown[] = [];
const note = (error: unknown) => unhandled.push(error);
process.on('uncaughtException', note).on('unhandledRejection', note);
afterAll(() => {
  process.off('uncaughtException', note).off('unhandledRejection', note);
  expect(unhandled).toEqual([]);
});

async function judged(behave: Behave, reason: string, given: object): Promise<void> {
  await using one = await peer(behave);
  const begun = performance.now();
  const observation = await ask(
    mysql.schema.parse({ kind: 'mysql', host: '127.0.0.1', port: one.port, ...given }),
    context({ timeoutMs }),
  );
  expect(performance.now() - begun).toBeLessThan(timeoutMs + slackMs);
  expect(observation).toMatchObject({ outcome: 'failed', trouble: { reason } });
  expect(JSON.stringify(observation)).not.toContain('pencil');
  // Every connection has ended from our side too, or this would never resolve.
  expect(await one.endings()).toHaveLength(1);
  expect(one.received().includes('pencil')).toBe(false);
}

const account = { user: 'probe', password: 'pencil of the probe' };

test.each(peers)('a peer that %s is failed in time', async (_name, behave, reason) => {
  for (const given of [{}, account]) await judged(behave, reason, given);
});

test.each(withAccount)('a peer that %s is failed in time', async (_name, behave, reason) => {
  await judged(behave, reason, account);
});

test('text that attacks arrives stripped, bounded and in one piece', async () => {
  const attack = `\u001b]0;owned\u0007\r\n<script>alert(1)</script>\u202e${'A'.repeat(12_000)}`;
  const hello = encodePacket(0, Buffer.concat([hex('ff 1004'), Buffer.from(attack)]));
  await using one = await peer(atOnce(hello));
  const { trouble, facts } = await ask(
    mysql.schema.parse({ kind: 'mysql', host: '127.0.0.1', port: one.port }),
    context({ timeoutMs }),
  );
  expect(trouble?.detail).toMatch(/^it says “\]0;owned <script>alert\(1\)<\/script> A+…/);
  expect(trouble?.detail.length).toBeLessThanOrEqual(400);
  expect(String(facts['refusal']).length).toBeLessThanOrEqual(200);
});
