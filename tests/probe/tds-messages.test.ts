/** TDS up to the sign-in: the printed requests, recorded answers of real servers, and bytes that cannot be. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import {
  decodeReply,
  encodeOptions,
  encodePacket,
  encodePrelogin,
  type Options,
} from '../../src/probe/tds-messages.ts';
import { byteByByte, decodeAll } from '../support/decode.ts';
import { fixture } from '../support/fixtures.ts';
import { errorAnswer, ordinaryOptions, preloginAnswer, resultType } from '../support/tds-server.ts';

const hex = (digits: string) => Buffer.from(digits.replace(/\s/g, ''), 'hex');
const request = (name: string) => Buffer.concat(fixture('tds', name));

/** The contents of a request, in their order, read off by hand from the printed table. */
const printed: readonly (readonly [name: string, options: Options])[] = [
  [
    'request-ms-tds',
    [
      [0x00, hex('090000000000')],
      [0x01, hex('01')],
      [0x02, hex('00')],
      [0x03, hex('b80d0000')],
      [0x04, hex('01')],
    ],
  ],
  [
    'request-ms-sstds',
    [
      [0x00, hex('080001550000')],
      [0x01, hex('00')],
      [0x02, Buffer.from('MSSQLServer\0')],
      [0x03, hex('80190000')],
    ],
  ],
];

test.each(printed)(
  'the printed request "%s" is made byte for byte of its options',
  (name, options) => {
    expect(encodePacket(0x12, encodeOptions(options))).toEqual(request(name));
  },
);

test.each([
  ['request-ms-tds', { version: '9.0.0', encryption: 'on', otherInstance: false }],
  ['request-ms-sstds', { version: '8.0.341', encryption: 'sign-in only', otherInstance: false }],
  // Answers have the same form; these are what tedious 19 reads in them, too.
  ['server-2008', { version: '10.0.2531', encryption: 'on', otherInstance: false }],
  ['server-2012', { version: '11.0.3000', encryption: 'on', otherInstance: false }],
])('"%s" is read, in its chunks and byte by byte', (name, expected) => {
  // As if a server had sent it.
  const chunks = fixture('tds', name).map((chunk) => Buffer.from(chunk));
  chunks[0]?.writeUInt8(resultType, 0);
  const read = decodeAll(decodeReply, chunks);
  expect(read).toEqual([{ kind: 'prelogin', ...expected, federated: undefined }]);
  expect(decodeAll(decodeReply, byteByByte(chunks))).toEqual(read);
});

test('the question of the probe is the least that there is', () => {
  expect(encodePrelogin(undefined)).toEqual(
    hex('1201001a00000100 00000b0006 0100110001 ff 000000000000 00'),
  );
  expect(encodePrelogin('KILN').subarray(8)).toEqual(
    encodeOptions([
      [0x00, Buffer.alloc(6)],
      [0x01, Buffer.of(0)],
      [0x02, Buffer.from('KILN\0')],
    ]),
  );
});

test.each([
  ['01', 'on'],
  ['02', 'not supported'],
  ['03', 'required'],
  ['7f', '127'],
])('encryption %s is "%s"', (byte, encryption) => {
  const answer = preloginAnswer([
    [0x00, hex('100003e80000')],
    [0x01, hex(byte)],
    [0x02, hex('01')],
    [0x06, hex('01')],
  ]);
  expect(decodeAll(decodeReply, [answer])).toEqual([
    { kind: 'prelogin', version: '16.0.1000', encryption, otherInstance: true, federated: true },
  ]);
});

test('an answer may be spread over four packets, and not over more', () => {
  const payload = encodeOptions(ordinaryOptions);
  const spread = (count: number) => {
    const size = Math.ceil(payload.length / count);
    const parts = Array.from({ length: count }, (_, nth) =>
      encodePacket(resultType, payload.subarray(nth * size, (nth + 1) * size)),
    );
    for (const part of parts.slice(0, -1)) part.writeUInt8(0, 1);
    return parts;
  };
  const whole = decodeAll(decodeReply, [preloginAnswer()]);
  expect(decodeAll(decodeReply, spread(4))).toEqual(whole);
  expect(decodeAll(decodeReply, byteByByte(spread(3)))).toEqual(whole);
  expect(decodeReply(Buffer.concat(spread(5))).state).toBe('malformed');
});

test('an error before the sign-in is read', () => {
  // [MS-TDS] §2.2.7.10, put together by the stand-in that tsql and tedious understand.
  const said = 'SQL Server is not ready to accept new client connections.';
  const chunks = [errorAnswer(17_187, said)];
  const read = [{ kind: 'error', number: 17_187, message: said }];
  expect(decodeAll(decodeReply, chunks)).toEqual(read);
  expect(decodeAll(decodeReply, byteByByte(chunks))).toEqual(read);
});

const answer = (payload: string) => encodePacket(resultType, hex(payload));

test.each([
  ['a request', request('request-ms-tds')],
  ['a length of 0', hex('04010000 00000100')],
  ['a length of 7', hex('04010007 00000100')],
  ['nothing but a header', hex('04010008 00000100')],
  ['a length of 65535', hex('0401ffff')],
  ['a little-endian length', hex('04012b00 00000100')],
  ['no end of the table', answer('00001a0006 0100200001')],
  ['200 options', answer('01 0000 0000'.repeat(200))],
  ['no version at all', answer('0100060001 ff 00')],
  ['a version that is not first', answer('01000b0001 00000c0006 ff 00 100003e80000')],
  ['a version of 5 bytes', answer('0000060005 ff 100003e800')],
  ['two versions', answer('00000b0006 00000b0006 ff 100003e80000')],
  ['a content behind the end', answer('0000060007 ff 100003e80000')],
  ['an offset behind the end', answer('00000b0006 01ffff0001 ff 100003e80000')],
  ['a content within the table', answer('00000b0006 0100000001 ff 100003e80000')],
  ['an empty option behind the end', answer('00000b0006 01ffff0000 ff 100003e80000')],
  ['an error without its text', answer('aa 0400 5c480000')],
  ['an error with a text longer than itself', answer('aa 0800 5c480000 01 0e ff00 4100')],
])('%s is malformed', (_name, bytes) => {
  expect(decodeReply(bytes).state).toBe('malformed');
});

test('texts are stripped and bounded', () => {
  const [read] = decodeAll(decodeReply, [
    errorAnswer(1, `\u001b[31m<b>\u202e${'x'.repeat(1_500)}`),
  ]);
  expect(read).toMatchObject({ message: expect.stringMatching(/^\[31m<b> x+…$/) });
});

test('whatever arrives, the decoder gives an answer and takes no more than there is', () => {
  const bytes = fc.uint8Array({ maxLength: 128 }).map((array) => Buffer.from(array));
  const payload = fc.uint8Array({ minLength: 1, maxLength: 64 });
  const packets = payload.map((content) => encodePacket(resultType, content));
  const tables = payload.map((rest) =>
    encodePacket(
      resultType,
      Buffer.concat([hex('00000b0006 01'), rest, hex('ff 100003e80000 02')]),
    ),
  );
  fc.assert(
    fc.property(fc.oneof(bytes, packets, tables), (input) => {
      const result = decodeReply(input);
      if (result.state === 'value') expect(result.usedBytes).toBeLessThanOrEqual(input.length);
    }),
    { numRuns: 2_000 },
  );
});
