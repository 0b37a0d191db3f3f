/**
 * Bad peers where PostgreSQL is expected. Whatever they do, the probe ends within its deadline, says failed, throws
 * nothing, and leaves no connection open.
 */
import type { Socket } from 'node:net';
import { afterAll, expect, test } from 'vitest';
import { finishMsMax } from '../../src/base/limits.ts';
import { ask } from '../../src/probe/registry.ts';
import { postgres } from '../../src/probe/settings/postgres.ts';
import { byteByByte } from '../support/decode.ts';
import { fixture } from '../support/fixtures.ts';
import { context, drip, peer } from '../support/peer.ts';
import { authentication, message, parameter, scripted } from '../support/postgres-server.ts';

const timeoutMs = 400;
/** Beyond the deadline: the goodbye, and the slack of a busy machine. */
const slackMs = finishMsMax + 1_500;

type Behave = (socket: Socket) => void;

const hex = (digits: string) => Buffer.from(digits.replace(/\s/g, ''), 'hex');
const sasl = Buffer.concat(fixture('postgres', 'sasl'));
const toStartup = (answer: Uint8Array | string) => scripted(['N', answer]);
const toSslRequest = (answer: Uint8Array | string) => scripted([answer]);
const atOnce =
  (bytes: Uint8Array | string): Behave =>
  (socket) =>
    void socket.write(bytes);

/** An entry of a script that does something and sends nothing itself. */
const doing = (what: (socket: Socket) => void) => (_received: Buffer, socket: Socket) => {
  what(socket);
  return '';
};

/** Sends part of a good answer, then does something to the connection. */
const partThen = (countBytes: number, then: (socket: Socket) => void) =>
  scripted([
    'N',
    (_received, socket) => {
      if (countBytes > 0) socket.write(sasl.subarray(0, countBytes));
      setTimeout(() => then(socket), 20);
      return '';
    },
  ]);

/** Answers the first writes, the last of them with `bytes` over and over, as fast as they are taken. */
const forever =
  (answersBefore: readonly string[], first: Uint8Array, bytes: Uint8Array): Behave =>
  (socket) => {
    const batch = Buffer.concat(
      Array.from({ length: Math.ceil(8_192 / bytes.length) }, () => bytes),
    );
    const flood = () => {
      while (!socket.destroyed && socket.write(batch));
    };
    socket.on('drain', flood);
    const last = () => {
      setImmediate(flood);
      return first;
    };
    scripted([...answersBefore, last])(socket);
  };

const notice = message('N', 'SNOTICE\0C00000\0Mx\0\0');
const echo: Behave = (socket) => void socket.on('data', (bytes) => socket.write(bytes));

const peers: readonly (readonly [name: string, behave: Behave, reason: string])[] = [
  ['accepts and stays silent', () => {}, 'no-reply'],
  ['is silent after the request for TLS', scripted(['N']), 'no-reply'],
  [
    'drips a good answer',
    scripted(['N', doing((socket) => drip(socket, byteByByte([sasl]), 100))]),
    'no-reply',
  ],
  ...[0, 1, 3, 12, sasl.length - 1].flatMap((count): (readonly [string, Behave, string])[] => [
    [`closes after ${count} bytes`, partThen(count, (socket) => socket.end()), 'closed-early'],
    [
      `cuts the line after ${count} bytes`,
      partThen(count, (socket) => socket.resetAndDestroy()),
      'reset',
    ],
  ]),
  ['closes at once', (socket) => socket.end(), 'closed-early'],
  ['cuts the line at once', (socket) => socket.resetAndDestroy(), 'reset'],
  ['claims a huge sign-in', toStartup(hex('52 7fffffff')), 'malformed'],
  ['claims a huge error', toStartup(hex('45 ffffffff')), 'malformed'],
  ...[0, 1, 2, 3].map((length): readonly [string, Behave, string] => [
    `claims a length of ${length}`,
    toStartup(hex(`52 0000000${length} 0000`)),
    'malformed',
  ]),
  ['writes lengths little-endian', toStartup(hex('52 17000000 0a000000')), 'malformed'],
  ['sends an error without its end', toStartup(hex('45 0000000b 43 3537503033 00')), 'malformed'],
  ['sends an error without its code', toStartup(hex('45 0000000a 4d 61626300 00')), 'malformed'],
  [
    'sends an error with a code of three characters',
    toStartup(hex('45 0000000a 43 35375000 00')),
    'malformed',
  ],
  ['lists sign-ins without an end', toStartup(authentication(10, 'SCRAM-SHA-256\0')), 'malformed'],
  ['asks for an unknown sign-in', toStartup(authentication(99)), 'malformed'],
  [
    'begins in the middle of a sign-in',
    toStartup(authentication(11, 'r=x,s=AAAA,i=1')),
    'malformed',
  ],
  ['is ready at once', toStartup(message('Z', 'I')), 'malformed'],
  ['lets in and says no more', toStartup(authentication(0)), 'no-reply'],
  [
    'puts bytes behind its yes to TLS',
    toSslRequest(Buffer.concat([Buffer.from('S'), sasl])),
    'malformed',
  ],
  [
    'puts bytes behind its no to TLS',
    toSslRequest(Buffer.concat([Buffer.from('N'), sasl])),
    'malformed',
  ],
  ['says yes to TLS and nothing more', toSslRequest('S'), 'no-reply'],
  [
    'says yes to TLS and closes',
    scripted(['S', doing((socket) => socket.end())]),
    'handshake-failed',
  ],
  ['says yes to TLS and speaks plain', scripted(['S', sasl]), 'handshake-failed'],
  ['says yes to GSS', toSslRequest('G'), 'malformed'],
  ['returns what it gets', echo, 'malformed'],
  [
    'returns what it gets after a no',
    (socket) => scripted(['N', (received) => received])(socket),
    'malformed',
  ],
  ['speaks HTTP', toSslRequest('HTTP/1.1 400 Bad Request\r\n\r\n'), 'other-protocol'],
  ['speaks SSH', atOnce('SSH-2.0-OpenSSH_9.2\r\n'), 'other-protocol'],
  ['speaks SMTP', atOnce('220 mail.fernhill.home.arpa ESMTP\r\n'), 'other-protocol'],
  ['speaks NATS', atOnce('INFO {"server_id":"x"}\r\n'), 'other-protocol'],
  ['speaks memcached', toSslRequest('ERROR\r\n'), 'other-protocol'],
  ['speaks TLS', toSslRequest(hex('15 0301 0002 0246')), 'other-protocol'],
  ['speaks MySQL', atOnce(hex('0f0000 00 0a 31302e31312e3139 00 01020304 00')), 'other-protocol'],
  ['greets with a message of its own', atOnce(sasl), 'malformed'],
  ['notices for ever', forever(['N'], notice, notice), 'malformed'],
  [
    'tells parameters for ever',
    forever(['N'], authentication(0), parameter('a', 'b')),
    'malformed',
  ],
  ['sends zeros for ever', forever([], Buffer.alloc(1), Buffer.alloc(8_192)), 'malformed'],
  [
    'sends one long message without end',
    forever(['N'], hex('52 0000ffff'), Buffer.alloc(8_192, 0x41)),
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
  for (const given of [{}, { password: 'pencil of the probe' }]) {
    await using one = await peer(behave);
    const begun = performance.now();
    const observation = await ask(
      postgres.schema.parse({ kind: 'postgres', host: '127.0.0.1', port: one.port, ...given }),
      context({ timeoutMs }),
    );
    expect(performance.now() - begun).toBeLessThan(timeoutMs + slackMs);
    expect(observation).toMatchObject({ outcome: 'failed', trouble: { reason } });
    expect(JSON.stringify(observation)).not.toContain('pencil');
    // Every connection has ended from our side too, or this would never resolve.
    expect(await one.endings()).toHaveLength(1);
  }
});

test('text that attacks arrives stripped, bounded and in one piece', async () => {
  const attack = `\u001b]0;owned\u0007\r\n<script>alert(1)</script>\u202e${'A'.repeat(30_000)}`;
  await using one = await peer(
    scripted(['N', message('E', `SFATAL\0C57P03\0M${attack}\0D${attack}\0\0`)]),
  );
  const { trouble } = await ask(
    postgres.schema.parse({ kind: 'postgres', host: '127.0.0.1', port: one.port }),
    context({ timeoutMs }),
  );
  expect(trouble?.detail).toMatch(/^it says “\]0;owned <script>alert\(1\)<\/script> A+…/);
  expect(trouble?.detail.length).toBeLessThanOrEqual(400);
});
