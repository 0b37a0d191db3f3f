/** IKE_SA_INIT: the request as it was seen to work, captured answers, and bytes that cannot be. RFC 7296 publishes no bytes. */
import { randomBytes } from 'node:crypto';
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { ikePayloadsCountMax } from '../../src/base/limits.ts';
import { decodeReply, encodeInit } from '../../src/probe/ikev2-messages.ts';
import { acceptance, notify, response, vendorId, withHeader } from '../support/ike-responder.ts';

const hex = (digits: string) => Buffer.from(digits.replaceAll(' ', ''), 'hex');
const spi = hex('0102030405060708');
const request = encodeInit({
  spi,
  publicKey: Buffer.alloc(32, 0x11),
  nonce: Buffer.alloc(32, 0x22),
});
const nothing = {
  isAccepted: false,
  hasCookie: false,
  errorNumber: null,
  wantedGroup: null,
  vendorIds: [],
};

test('the request is the one that strongSwan 5.9.8 was seen to answer', () => {
  expect(request).toEqual(
    hex(
      [
        '0102030405060708 0000000000000000 21 20 22 08 00000000 00000094',
        '2200002c 00000028 01010004 03000008 0100fde8 03000008 02000005',
        '03000008 0300000c 00000008 0400001f',
        `28000028 001f0000 ${'11'.repeat(32)}`,
        `00000024 ${'22'.repeat(32)}`,
      ].join(''),
    ),
  );
});

test.each([
  // strongSwan 5.9.8: NO_PROPOSAL_CHOSEN, INVALID_MAJOR_VERSION
  ['29202220 00000000 00000024 00000008 0000000e', { ...nothing, errorNumber: 14 }],
  ['29202220 00000000 00000024 00000008 00000005', { ...nothing, errorNumber: 5 }],
])('the captured answer %s is read', (digits, expected) => {
  for (const responderSpi of ['0000000000000000', 'a1a2a3a4a5a6a7a8']) {
    const bytes = hex(`0102030405060708 ${responderSpi} ${digits}`);
    expect(bytes).toHaveLength(36);
    expect(decodeReply(bytes, spi)).toEqual(expected);
  }
});

test('the other answers are read', () => {
  const read = (...parts: Parameters<typeof response>[1]) => decodeReply(response(spi, parts), spi);
  expect(read(...acceptance)).toEqual({ ...nothing, isAccepted: true });
  expect(read(notify(16_390, randomBytes(24)))).toEqual({ ...nothing, hasCookie: true });
  // The group that is wanted, §1.3
  const wanted = { ...nothing, errorNumber: 17, wantedGroup: 19 };
  expect(read(notify(17, Buffer.of(0, 19)))).toEqual(wanted);
  expect(read(notify(17))).toEqual({ ...wanted, wantedGroup: null });
  const id = randomBytes(16);
  // Status notifies beside the error: the hashes of the addresses, §2.23
  const parts = [notify(16_388, randomBytes(20)), notify(24), vendorId(id)];
  expect(read(...parts)).toEqual({ ...nothing, errorNumber: 24, vendorIds: [id] });
  // A notify may name an SPI of its own, §3.10
  const withSpi = { type: 41, body: hex('03 04 000b aabbccdd') };
  expect(read(withSpi)).toEqual({ ...nothing, errorNumber: 11 });
});

test('bytes behind the message are none of it', () => {
  const bytes = Buffer.concat([response(spi, [notify(14)]), randomBytes(12)]);
  expect(decodeReply(bytes, spi)).toEqual({ ...nothing, errorNumber: 14 });
});

test.each<[string, Buffer]>([
  ['nothing', Buffer.alloc(0)],
  ['27 bytes', response(spi, []).subarray(0, 27)],
  ['the SPI of somebody else', response(randomBytes(8), [notify(14)])],
  ['our own request', request],
  ['a response by an initiator', response(spi, [notify(14)], { flags: 0x28 })],
  ['no response', response(spi, [notify(14)], { flags: 0 })],
  ['another exchange', response(spi, [notify(14)], { exchange: 37 })],
  ['another message', response(spi, [notify(14)], { messageId: 1 })],
  ['the marker before it', Buffer.concat([Buffer.alloc(4), response(spi, [notify(14)])])],
])('%s answers nothing of ours', (_name, bytes) => {
  expect(decodeReply(bytes, spi)).toBeNull();
});

const endless = Buffer.concat(Array.from({ length: 16_000 }, () => hex('29000004')));
test.each<[string, Buffer]>([
  ['no payload', response(spi, [])],
  ['a length that is too great', response(spi, [notify(14)], { lengthBytes: 37 })],
  ['a length that is too small', response(spi, [notify(14)], { lengthBytes: 27 })],
  ['a length that cuts a payload', response(spi, [notify(14)], { lengthBytes: 35 })],
  ['a length that leaves bytes over', withHeader(spi, 41, hex('00000008 0000000e 00'))],
  ...[0, 1, 3].map((length): [string, Buffer] => [
    `a payload of length ${length}`,
    withHeader(spi, 41, hex(`2900000${length} 0000000e`)),
  ]),
  ['a payload past the end', withHeader(spi, 41, hex('00000009 0000000e'))],
  ['a payload far past the end', withHeader(spi, 41, hex('0000ffff 0000000e'))],
  ['a chain that goes on behind the end', withHeader(spi, 41, hex('29000008 0000000e'))],
  ['a chain of 16000', withHeader(spi, 41, endless)],
  [
    'one payload too many',
    response(
      spi,
      Array.from({ length: ikePayloadsCountMax + 1 }, () => notify(14)),
    ),
  ],
  ['a notify of three bytes', response(spi, [{ type: 41, body: Buffer.alloc(3) }])],
  ['an SPI past the end of its notify', response(spi, [{ type: 41, body: hex('00ff000e aa') }])],
  ['an empty cookie', response(spi, [notify(16_390)])],
  ['a cookie of 65 bytes', response(spi, [notify(16_390, Buffer.alloc(65))])],
  ['a status alone', response(spi, [notify(16_404)])],
  ['a choice without a key', response(spi, acceptance.slice(0, 1))],
  ['vendor ids alone', response(spi, [vendorId(Buffer.alloc(16))])],
])('%s is broken', (_name, bytes) => {
  expect(decodeReply(bytes, spi)).toBe('broken');
});

test('whatever follows a good beginning, the decoder gives an answer', () => {
  const tail = fc.uint8Array({ maxLength: 80 }).map((array) => Buffer.from(array));
  fc.assert(
    fc.property(tail, fc.constantFrom(33, 40, 41, 43), (bytes, type) => {
      const read = decodeReply(withHeader(spi, type, bytes), spi);
      if (read !== 'broken') expect(read).not.toBeNull();
    }),
    { numRuns: 1_000 },
  );
});
