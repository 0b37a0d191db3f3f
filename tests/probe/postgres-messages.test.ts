/** PostgreSQL's messages: printed codes of its documentation, captured packets, and bytes that cannot be. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { peerBytesMax } from '../../src/base/limits.ts';
import {
  decodeMessage,
  decodeSslReply,
  encodePassword,
  encodeQuery,
  encodeSaslInitial,
  encodeSslRequest,
  encodeStartup,
  encodeTerminate,
  type ServerMessage,
} from '../../src/probe/postgres-messages.ts';
import { byteByByte, decodeAll } from '../support/decode.ts';
import { fixture } from '../support/fixtures.ts';

const hex = (digits: string) => Buffer.from(digits.replace(/[\s·]/g, ''), 'hex');

test('the codes are those that the documentation prints', () => {
  // PostgreSQL documentation, "Message Formats": SSLRequest 80877103, StartupMessage 196608
  expect(encodeSslRequest().readInt32BE(0)).toBe(8);
  expect(encodeSslRequest().readInt32BE(4)).toBe(80_877_103);
  expect(encodeStartup({ user: 'a' }).readInt32BE(4)).toBe(196_608);
});

test('what is sent equals packets that a real server took', () => {
  // sent to PostgreSQL 15.18
  expect(encodeStartup({ user: 'probe', database: 'postgres' })).toEqual(
    hex('00000026 00030000 7573657200 70726f626500 646174616261736500 706f73746772657300 00'),
  );
  expect(encodeQuery('SELECT 1')).toEqual(hex('51 0000000d 53454c454354203100'));
  expect(encodeTerminate()).toEqual(hex('58 00000004'));
  expect(encodePassword('x')).toEqual(hex('70 00000006 7800'));
  expect(encodeSaslInitial('SCRAM-SHA-256', 'n,,')).toEqual(
    hex('70 00000019 534352414d2d5348412d32353600 00000003 6e2c2c'),
  );
});

const answers: readonly (readonly [name: string, expected: readonly object[]])[] = [
  ['sasl', [{ authentication: { step: 'sasl', mechanisms: ['SCRAM-SHA-256'] } }]],
  ['md5', [{ authentication: { step: 'md5', salt: hex('9620d5e4') } }]],
  ['cleartext', [{ authentication: { step: 'cleartext' } }]],
  [
    'no-database',
    [
      { authentication: { step: 'ok' } },
      { error: { code: '3D000', message: 'database "nosuch" does not exist', detail: '' } },
    ],
  ],
  ['rejected', [{ error: { code: '28000' } }]],
  ['no-entry', [{ error: { code: '28000' } }]],
  ['wrong-password', [{ authentication: { step: 'cleartext' } }, { error: { code: '28P01' } }]],
  ['full', [{ error: { code: '53300', message: 'sorry, too many clients already' } }]],
  ['starting-up', [{ error: { code: '57P03', message: 'the database system is starting up' } }]],
  [
    'shutting-down',
    [{ error: { code: '57P03', message: 'the database system is shutting down' } }],
  ],
];

test.each(answers)(
  'the captured answer "%s" is read, in its chunks and byte by byte',
  (name, expected) => {
    const chunks = fixture('postgres', name);
    const read = decodeAll(decodeMessage, chunks);
    expect(read).toMatchObject(expected);
    expect(decodeAll(decodeMessage, byteByByte(chunks))).toEqual(read);
  },
);

test('a captured session is read to its end, in its chunks and byte by byte', () => {
  const chunks = fixture('postgres', 'session');
  const read = decodeAll(decodeMessage, chunks);
  expect(read.filter(({ kind }) => kind !== 'aside').map(({ kind }) => kind)).toEqual([
    'authentication',
    ...Array.from({ length: 13 }, () => 'parameter'),
    'ready',
    'row',
    'ready',
  ]);
  expect(read).toContainEqual({
    kind: 'parameter',
    name: 'server_version',
    value: '15.18 (Debian 15.18-0+deb12u1)',
  });
  expect(read).toContainEqual({ kind: 'parameter', name: 'in_hot_standby', value: 'off' });
  expect(read).toContainEqual({ kind: 'row', first: '1' });
  expect(decodeAll(decodeMessage, byteByByte(chunks))).toEqual(read);
});

test('other mechanisms and steps of the sign-in are read', () => {
  // with TLS, on PostgreSQL 15.18
  const plus = hex(
    `52 0000002a 0000000a ${Buffer.from('SCRAM-SHA-256-PLUS\0SCRAM-SHA-256\0\0').toString('hex')}`,
  );
  expect(decodeAll(decodeMessage, [plus])).toMatchObject([
    { authentication: { mechanisms: ['SCRAM-SHA-256-PLUS', 'SCRAM-SHA-256'] } },
  ]);
  expect(
    decodeAll(decodeMessage, [hex('52 00000009 0000000b 41'), hex('52 00000009 0000000c 42')]),
  ).toMatchObject([
    { authentication: { step: 'sasl-continue', data: 'A' } },
    { authentication: { step: 'sasl-final', data: 'B' } },
  ]);
  // NegotiateProtocolVersion to 3.2, on PostgreSQL 15.18: stepped over
  expect(decodeAll(decodeMessage, [hex('76 0000000c 00030000 00000000')])).toEqual([
    { kind: 'aside' },
  ]);
});

test.each([
  ['S', { state: 'value', value: 'tls', usedBytes: 1 }],
  ['N', { state: 'value', value: 'plain', usedBytes: 1 }],
  ['E\0\0', { state: 'value', value: 'error', usedBytes: 0 }],
  ['', { state: 'need-more' }],
])('SSLRequest is answered by %j', (bytes, expected) => {
  expect(decodeSslReply(Buffer.from(bytes))).toEqual(expected);
});

test.each([
  'Sx',
  'Nx',
  'S\u0016\u0003',
  'G',
  'R',
  'SSH-2.0',
  'HTTP/1.1',
  '\0\0\0\u0008\u0004\u00d2\u0016\u002f',
])('"%s" is no answer to SSLRequest', (bytes) => {
  expect(decodeSslReply(Buffer.from(bytes, 'latin1')).state).toBe('malformed');
});

test('a server without a process to spare says so in the old form', () => {
  const said = 'could not fork new process for connection: Cannot allocate memory\n';
  expect(decodeAll(decodeMessage, [Buffer.from(`E${said}\0`)])).toEqual([
    { kind: 'error', error: { code: '', message: said.trim(), detail: '' } },
  ]);
  expect(decodeMessage(Buffer.from(`E${said}`)).state).toBe('need-more');
  expect(decodeMessage(Buffer.from('ERROR\r\n')).state).toBe('malformed');
  expect(decodeMessage(Buffer.from(`E${'a'.repeat(2_000)}`)).state).toBe('malformed');
});

test.each([
  ['length 0', '52 00000000'],
  ['length 3', '52 00000003 000000'],
  ['length 0 of a message that is stepped over', '4e 00000000'],
  ['length 3 of a message that is stepped over', '4e 00000003'],
  ['a length far too large', '52 7fffffff'],
  ['a length that would be negative if signed', '45 ffffffff'],
  ['a length just above all that is read', `52 ${peerBytesMax.toString(16).padStart(8, '0')}`],
  ['a little-endian length', '52 17000000 0a000000'],
  ['no code of the sign-in', '52 00000004'],
  ['an unknown sign-in', '52 00000008 00000063'],
  ['a salt of three bytes', '52 0000000b 00000005 aabbcc'],
  ['a list of sign-ins without its last NUL', '52 0000000b 0000000a 41 42 00'],
  ['an empty list of sign-ins', '52 00000009 0000000a 00'],
  ['an error without its final NUL', '45 0000000b 43 3537503033 00'],
  ['an error with a letter and no text', '45 00000005 43'],
  ['an error without anything', '45 00000004'],
  ['an error without its code', '45 0000000a 4d 61626300 00'],
  ['an error with a code of three characters', '45 0000000a 43 35375000 00'],
  ['a parameter without its end', '53 00000008 61 00 62 62'],
  ['a parameter with bytes behind its end', '53 00000009 61 00 62 00 62'],
  ['a row without its columns', '44 00000005 00'],
  ['a column without its length', '44 00000006 0001'],
  ['a column longer than its row', '44 0000000b 0001 000000ff 31'],
  ['an empty ReadyForQuery', '5a 00000004'],
  ['a type that does not exist', '21 00000004'],
  ['zeros', '00000000'],
  ['the probe’s own question', '00000008 04d2162f'],
])('%s is malformed', (_name, bytes) => {
  expect(decodeMessage(hex(bytes)).state).toBe('malformed');
});

test('a NULL and a row without columns have no first value', () => {
  expect(
    decodeAll(decodeMessage, [hex('44 0000000a 0001 ffffffff'), hex('44 00000006 0000')]),
  ).toEqual([
    { kind: 'row', first: null },
    { kind: 'row', first: null },
  ]);
});

test('texts are stripped and bounded', () => {
  const message = `\u001b[31m<b>\u202e${'x'.repeat(5_000)}`;
  const body = Buffer.from(`C57P03\0M${message}\0\0`);
  const length = Buffer.alloc(4);
  length.writeUInt32BE(body.length + 4);
  const [read] = decodeAll(decodeMessage, [Buffer.from('E'), length, body]) as [
    Extract<ServerMessage, { kind: 'error' }>,
  ];
  expect(read.error.message).toMatch(/^\[31m<b> x+…$/);
  expect(read.error.message.length).toBeLessThanOrEqual(200);
});

test('whatever arrives, the decoders give an answer and take no more than there is', () => {
  const bytes = fc.uint8Array({ maxLength: 64 }).map((array) => Buffer.from(array));
  // Half of them begin like a message, so that the bodies are reached.
  const message = fc
    .tuple(fc.constantFrom(...'RESDZKNATCv'), fc.uint8Array({ maxLength: 48 }))
    .map(([type, body]) => {
      const head = Buffer.from(`${type}\0\0\0${String.fromCharCode(body.length + 4)}`, 'latin1');
      return Buffer.concat([head, body]);
    });
  fc.assert(
    fc.property(fc.oneof(bytes, message), (input) => {
      for (const decode of [decodeMessage, decodeSslReply]) {
        const result = decode(input);
        if (result.state === 'value') expect(result.usedBytes).toBeLessThanOrEqual(input.length);
      }
    }),
    { numRuns: 2_000 },
  );
});

test('a message is the same wherever it is cut', () => {
  const whole = Buffer.concat(fixture('postgres', 'session'));
  const read = decodeAll(decodeMessage, [whole]);
  fc.assert(
    fc.property(fc.array(fc.nat(whole.length), { maxLength: 20 }), (cuts) => {
      const borders = [0, ...cuts.sort((a, b) => a - b), whole.length];
      const chunks = borders.slice(1).map((to, i) => whole.subarray(borders[i], to));
      expect(decodeAll(decodeMessage, chunks)).toEqual(read);
    }),
  );
});
