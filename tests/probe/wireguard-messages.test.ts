/**
 * WireGuard's messages against one whole handshake. No source publishes one: these bytes were computed by another
 * implementation that shook hands with wireguard-go.
 */
import { expect, test } from 'vitest';
import { readInitiation, respond } from '../../src/demo/wireguard-responder.ts';
import {
  decodeCookieReply,
  decodeResponse,
  encodeInitiation,
  isMarked,
  keysOf,
  openCookieReply,
  openResponse,
} from '../../src/probe/wireguard-messages.ts';
import { agree, publicOf } from '../../src/probe/x25519.ts';
import { handOut } from '../support/wireguard-endpoint.ts';

const hex = (text: string) => Buffer.from(text, 'hex');

const ownPrivate = hex('1011111111111111111111111111111111111111111111111111111111111151');
const endpointPublic = hex('0faa684ed28867b97f4a6a2dee5df8ce974e76b7018e3f22a1c4cf2678570f20');
const keys = keysOf({ ownPrivate, endpointPublic, preshared: null });
const fresh = {
  ephemeralPrivate: hex('3033333333333333333333333333333333333333333333333333333333333373'),
  senderIndex: 0x04030201,
  stamp: hex('400000006774859400000000'),
  cookie: null,
};
const initiation = encodeInitiation(keys, fresh);
const response = hex(
  '020000000a0b0c0d01020304ff2ee45601ec1b67310c7790404585ae697331eee1c1f8cf2419731c1fff3e6b' +
    '6b85cf665bc5126421f17f6a1c3ea6ba7f49f3f9169711e7b18789500a7ddb8e00000000000000000000000000000000',
);
const cookieReply = hex(
  '0300000001020304555555555555555555555555555555555555555555555555e4ab7378617b9f1b6efc153360798537' +
    'bb76c503e12306fe4ebb03b2ea2686f6',
);
const cookie = Buffer.alloc(16, 0x66);

test('the initiation, its chaining key and its transcript are the computed ones', () => {
  expect(initiation.bytes.toString('hex')).toBe(
    '01000000010203047b0d47d93427f8311160781c7c733fd89f88970aef490d8aa0ee19a4cb8a1b14' +
      '81e498317da959fba46669572516a5e6c021bfa620bb6c56ca0082e1feae14988c2c64d024c617734a263f76a008df04' +
      'd0f94bad8cc02a56e1c26955ce5fbea207275a80874263b0262f5378c7fc7ec6ae4faba070d2559ed854c41e' +
      '00000000000000000000000000000000',
  );
  expect(initiation.chainingKey.toString('hex')).toBe(
    '24eca314409f2ca9ccbf8d50ebb72b7235d67ed11b21eeefc67942a2596df51e',
  );
  expect(initiation.transcript.toString('hex')).toBe(
    '6e87d276430dd06ea427a3a84ef0ea59ba43baf841ad6d41b7724161103d9902',
  );
  expect(keys.ownPublic.toString('hex')).toBe(
    '7b4e909bbe7ffe44c465a220037d608ee35897d31ef972f07f74892cb0f73f13',
  );
});

test('with a cookie the initiation is the same, and the cookie is proved at its end', () => {
  const { bytes } = encodeInitiation(keys, { ...fresh, cookie });
  expect(bytes.subarray(0, 132)).toEqual(initiation.bytes.subarray(0, 132));
  expect(bytes.subarray(132).toString('hex')).toBe('2309ed2d78618a4132bef26df63f88d4');
});

test('the computed response is marked, answers us, and opens', () => {
  const read = decodeResponse(response);
  expect(read?.receiverIndex).toBe(fresh.senderIndex);
  expect(read && isMarked(read, keys.ownPublic)).toBe(true);
  expect(read && openResponse(read, initiation, keys, agree)).toBe('opened');
});

test('with another preshared key, or to another initiation, it is still marked and stays sealed', () => {
  const read = decodeResponse(response);
  const others = keysOf({ ownPrivate, endpointPublic, preshared: Buffer.alloc(32, 9) });
  expect(read && openResponse(read, initiation, others, agree)).toBe('sealed');
  const again = encodeInitiation(keys, { ...fresh, stamp: hex('400000006774859500000000') });
  expect(read && openResponse(read, again, keys, agree)).toBe('sealed');
});

test('no bit of a response can be changed unnoticed but the index of the endpoint and the second mark', () => {
  for (let place = 12; place < 76; place++) {
    const changed = Buffer.from(response);
    changed.writeUInt8(changed.readUInt8(place) ^ 1, place);
    const read = decodeResponse(changed);
    expect(read && isMarked(read, keys.ownPublic), `byte ${place}`).toBe(false);
  }
});

test('an ephemeral key that belongs to nobody does not open, and does not throw', () => {
  const forged = Buffer.from(response);
  forged.fill(0, 12, 44);
  const read = decodeResponse(forged);
  expect(read && openResponse(read, initiation, keys, agree)).toBe('unsound');
  const half = openResponse(read!, initiation, keys, (own, other) =>
    own === keys.ownPrivate ? null : Buffer.alloc(32, other[0]),
  );
  expect(half).toBe('unsound');
});

test('the computed cookie reply opens, for this initiation only', () => {
  const read = decodeCookieReply(cookieReply);
  expect(read?.receiverIndex).toBe(fresh.senderIndex);
  expect(read && openCookieReply(read, initiation, keys)).toEqual(cookie);
  const earlier = encodeInitiation(keys, { ...fresh, stamp: hex('400000006774859300000000') });
  expect(read && openCookieReply(read, earlier, keys)).toBeNull();
  const elsewhere = keysOf({ ownPrivate, endpointPublic: publicOf(ownPrivate), preshared: null });
  expect(read && openCookieReply(read, initiation, elsewhere)).toBeNull();
});

test('nothing of another length or type is a response or a cookie reply', () => {
  for (let length = 0; length <= 200; length++) {
    const bytes = Buffer.alloc(length);
    if (length >= 4) bytes.writeUInt32LE(2);
    expect(decodeResponse(bytes) !== null, `response of ${length}`).toBe(length === 92);
    if (length >= 4) bytes.writeUInt32LE(3);
    expect(decodeCookieReply(bytes) !== null, `cookie reply of ${length}`).toBe(length === 64);
  }
  // The type is little-endian, and its upper bytes are zero.
  for (const type of ['00000002', '02000001', '02010000', '01000000', '04000000']) {
    const bytes = Buffer.concat([hex(type), response.subarray(4)]);
    expect(decodeResponse(bytes)).toBeNull();
  }
});

test('the endpoint of the other tests makes the computed bytes as well', () => {
  const endpointPrivate = hex('2022222222222222222222222222222222222222222222222222222222222262');
  const read = readInitiation(initiation.bytes, endpointPrivate)!;
  expect(read.peerPublic).toEqual(keys.ownPublic);
  expect(read.stamp).toBe(fresh.stamp.toString('hex'));
  const ephemeralPrivate = Buffer.alloc(32, 0x44);
  expect(respond(read, { ephemeralPrivate, senderIndex: hex('0a0b0c0d') })).toEqual(response);
  const nonce = Buffer.alloc(24, 0x55);
  expect(handOut(cookie, read, { ownPublic: endpointPublic, nonce })).toEqual(cookieReply);
});
