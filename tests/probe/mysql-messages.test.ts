/** MySQL's packets: captured ones, and bytes that cannot be. Published pages print none. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import {
  decodeAnswer,
  decodeAuthReply,
  decodeGreeting,
  encodeHandshakeResponse,
  encodePacket,
  encodeQuery,
  encodeQuit,
  encodeSslRequest,
} from '../../src/probe/mysql-messages.ts';
import { nativeProof } from '../../src/probe/mysql-sign-in.ts';
import { byteByByte, decodeAll } from '../support/decode.ts';
import { fixture } from '../support/fixtures.ts';

const hex = (digits: string) => Buffer.from(digits.replace(/\s/g, ''), 'hex');
const greeting = Buffer.concat(fixture('mysql', 'greeting'));
const native = 'mysql_native_password';

test('what is sent equals packets that a real server took', () => {
  // sent to MariaDB 10.11.19
  const nobody = { user: 'nobodyx', plugin: native, proof: Buffer.alloc(0), tls: false };
  expect(encodePacket(1, encodeHandshakeResponse(nobody))).toEqual(
    hex(`3f000001 01820800 ffffff00 2d ${'00'.repeat(23)} 6e6f626f64797800 00
      6d7973716c5f6e61746976655f70617373776f726400`),
  );
  const scramble = hex('7c253d437a5c3e60 4a2f4c6f6e57484561383232');
  const proof = nativeProof('pw', scramble);
  expect(proof).toEqual(hex('40734265970d19759055a20e01bc536417f1c367'));
  const probe = { user: 'probe', plugin: native, proof, tls: false };
  expect(encodePacket(1, encodeHandshakeResponse(probe))).toEqual(
    hex(`51000001 01820800 ffffff00 2d ${'00'.repeat(23)} 70726f626500
      14 40734265970d19759055a20e01bc536417f1c367 6d7973716c5f6e61746976655f70617373776f726400`),
  );
  expect(encodePacket(0, encodeQuery('SELECT 1'))).toEqual(hex('09000000 03 53454c4543542031'));
  expect(encodePacket(0, encodeQuit())).toEqual(hex('01000000 01'));
});

test('a database stands between proof and plugin, and its flag in the request for TLS as well', () => {
  const given = { user: 'a', plugin: 'b', proof: Buffer.of(9), database: 'c', tls: true };
  const response = encodeHandshakeResponse(given);
  // "Capabilities Flags": CLIENT_CONNECT_WITH_DB 8, CLIENT_SSL 2048
  expect(response.readUInt32LE(0)).toBe(0x0008_8201 | 8 | 2_048);
  expect(response.subarray(32)).toEqual(hex('6100 0109 6300 6200'));
  expect(encodeSslRequest(given)).toEqual(response.subarray(0, 32));
});

test.each([
  ['greeting', false, '5267325f686c6947 664c2926252733693b295968'],
  ['greeting-tls', true, '7c253d437a5c3e60 4a2f4c6f6e57484561383232'],
])('the captured "%s" is read, in its chunks and byte by byte', (name, offersTls, scramble) => {
  const chunks = fixture('mysql', name);
  const read = decodeAll(decodeGreeting, chunks);
  expect(read).toEqual([
    {
      kind: 'greeting',
      version: '10.11.19-MariaDB-0+deb12u1',
      flavour: 'MariaDB',
      offersTls,
      scramble: hex(scramble),
      plugin: native,
    },
  ]);
  expect(decodeAll(decodeGreeting, byteByByte(chunks))).toEqual(read);
});

test.each([
  ['full', 1_040, 'Too many connections'],
  [
    'blocked',
    1_129,
    "Host '127.0.0.2' is blocked because of many connection errors; unblock with 'mariadb-admin flush-hosts'",
  ],
  ['not-allowed', 1_130, "Host '127.0.0.2' is not allowed to connect to this MariaDB server"],
])('the captured "%s" in place of a greeting is read', (name, code, message) => {
  const chunks = fixture('mysql', name);
  const read = decodeAll(decodeGreeting, chunks);
  expect(read).toEqual([{ kind: 'error', code, state: '', message }]);
  expect(decodeAll(decodeGreeting, byteByByte(chunks))).toEqual(read);
});

test('the captured refusal and the captured answer to SELECT 1 are read', () => {
  const denied = fixture('mysql', 'denied');
  const error = {
    kind: 'error',
    code: 1_045,
    state: '28000',
    message: "Access denied for user 'nobodyx'@'localhost' (using password: NO)",
  };
  expect(decodeAll(decodeAuthReply(2), denied)).toEqual([error]);
  const select = fixture('mysql', 'select');
  const value = [{ kind: 'value', text: '1' }];
  expect(decodeAll(decodeAnswer, select)).toEqual(value);
  expect(decodeAll(decodeAnswer, byteByByte(select))).toEqual(value);
  // An error may stand in for any packet of the answer: here after the count and the column.
  const late = hex('05000003 ff 2505 4141');
  expect(decodeAnswer(Buffer.concat([...select.slice(0, 1), late]))).toMatchObject({
    value: { kind: 'error', code: 1_317, state: '', message: 'AA' },
  });
});

test('a MySQL server, one without a plugin, one older than 4.1', () => {
  // Put together after "Protocol::HandshakeV10"; no capture.
  const head = `0a ${Buffer.from('8.0.36\0').toString('hex')} 01000000 3132333435363738 00`;
  const tail = '39303132333435363738393000';
  const sha2 = Buffer.from('caching_sha2_password').toString('hex');
  const of = (rest: string) => {
    const payload = hex(head + rest);
    return decodeAll(decodeGreeting, [encodePacket(0, payload)]);
  };
  expect(of(`ffff ff 0200 ffdf 15 ${'00'.repeat(10)} 393031323334353637383930 00 ${sha2}`)).toEqual(
    [
      {
        kind: 'greeting',
        version: '8.0.36',
        flavour: 'MySQL',
        offersTls: true,
        scramble: Buffer.from('12345678901234567890'),
        plugin: 'caching_sha2_password',
      },
    ],
  );
  expect(of(`ffff ff 0200 0000 00 ${'00'.repeat(10)} ${tail}`)).toMatchObject([{ plugin: '' }]);
  expect(of('2c20')).toMatchObject([
    { scramble: Buffer.from('12345678'), plugin: '', offersTls: false },
  ]);
});

test('the version of another server keeps what looks like the prefix of MariaDB', () => {
  const version = '5.5.5-10.11.19-MariaDB-0+deb12u1';
  const other = greeting.toString('latin1').replace(version, '5.5.5-10.11.19-Mandrake-0+deb12');
  const bytes = Buffer.from(other, 'latin1');
  bytes.writeUIntLE(bytes.length - 4, 0, 3);
  expect(decodeAll(decodeGreeting, [bytes])).toMatchObject([
    { version: '5.5.5-10.11.19-Mandrake-0+deb12', flavour: 'MySQL' },
  ]);
});

test('how a server asks for another sign-in', () => {
  const read = (bytes: string) => decodeAll(decodeAuthReply(2), [hex(bytes)]);
  expect(read('07000002 00 0000 0200 0000')).toEqual([{ kind: 'ok' }]);
  expect(read('08000002 fe 616200 31323334')).toEqual([
    { kind: 'switch', plugin: 'ab', data: Buffer.from('1234') },
  ]);
  expect(read('01000002 fe')).toMatchObject([{ kind: 'switch', plugin: 'mysql_old_password' }]);
  expect(read('02000002 01 04')).toEqual([{ kind: 'more', data: Buffer.of(4) }]);
  // MariaDB's dialog, seen on 10.11.19
  expect(read('0b000002 04 50617373776f72643a20')).toMatchObject([{ kind: 'more' }]);
});

test.each([
  ['no content', '000000 00'],
  ['a length above all that is read', '014000 00'],
  ['a length of 16 MiB', 'ffffff 00'],
  ['a big-endian length', '000064 00 0a35'],
  ['the sequence 7', '64000007 0a'],
  ['an error with the sequence 7', '03000007 ff 1004'],
  ['another version of the protocol', '02000000 09 00'],
  ['an error without its code', '02000000 ff 10'],
  ['a version without its end', '03000000 0a 35 35'],
  ['no capabilities', '04000000 0a 35 00 01'],
  [
    'a scramble without its end',
    `2c000000 0a 35 00 01000000 ${'31'.repeat(8)} 00 ffff 08 0200 ff81 15 ${'00'.repeat(10)} ${'32'.repeat(10)}`,
  ],
  ['a version of 300 bytes', `3f010000 0a ${'35'.repeat(300)} 00 ${'00'.repeat(17)}`],
])('a greeting with %s is malformed', (_name, bytes) => {
  expect(decodeGreeting(hex(bytes)).state).toBe('malformed');
});

test.each([
  ['an OK without its numbers', '01000002 00'],
  ['a plugin without its end', '03000002 fe 6162'],
  ['an old sequence', '07000001 00 0000 0200 0000'],
])('an answer to the sign-in with %s is malformed', (_name, bytes) => {
  expect(decodeAuthReply(2)(hex(bytes)).state).toBe('malformed');
});

test.each([
  ['an OK', '07000001 00 0000 0200 0000'],
  ['a wish for a file', '05000001 fb 2f657463'],
  ['two columns', '01000001 02'],
  ['no column', '01000001 01 01000002 03'],
  [
    'no row',
    '01000001 01 17000002 0364656600000001 31000c3f000100000003810000000005000003fe00000200 05000004fe00000200',
  ],
  [
    'a row longer than itself',
    '01000001 01 17000002 0364656600000001 31000c3f000100000003810000000005000003fe00000200 02000004 0531',
  ],
])('%s is no answer to SELECT 1', (_name, bytes) => {
  expect(decodeAnswer(hex(bytes)).state).toBe('malformed');
});

test('texts are stripped and bounded', () => {
  const text = `\u001b]0;owned\u0007\r\n<b>\u202e${'x'.repeat(5_000)}`;
  const payload = Buffer.concat([hex('ff 1504 23 3238303030'), Buffer.from(text)]);
  const [error] = decodeAll(decodeAuthReply(2), [encodePacket(2, payload)]);
  expect(error).toMatchObject({ message: expect.stringMatching(/^\]0;owned <b> x+…$/) });
});

test('whatever arrives, the decoders give an answer and take no more than there is', () => {
  const bytes = fc.uint8Array({ maxLength: 128 }).map((array) => Buffer.from(array));
  const packets = fc
    .tuple(
      fc.constantFrom(0, 1, 2),
      fc.constantFrom(0x0a, 0xff, 0xfe, 0, 1),
      fc.uint8Array({ minLength: 1, maxLength: 96 }),
    )
    .map(([sequence, first, rest]) =>
      encodePacket(sequence, Buffer.concat([Buffer.of(first), rest])),
    );
  fc.assert(
    fc.property(fc.oneof(bytes, packets), (input) => {
      for (const decode of [decodeGreeting, decodeAuthReply(2), decodeAnswer]) {
        const result = decode(input);
        if (result.state === 'value') expect(result.usedBytes).toBeLessThanOrEqual(input.length);
      }
    }),
    { numRuns: 2_000 },
  );
});
