/** OpenVPN's opening packets: those that its own tests publish, a captured answer, and bytes that cannot be. */
import { randomBytes } from 'node:crypto';
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { openvpnPacketBytesMax } from '../../src/base/limits.ts';
import { type Direction, otherHalf, slotsOf } from '../../src/probe/openvpn-keys.ts';
import {
  type Cover,
  type Digest,
  decodeAnswer,
  decodeFrame,
  encodeReset,
  frame,
  type Opening,
} from '../../src/probe/openvpn-packets.ts';
import { byteByByte, decodeAll } from '../support/decode.ts';
import { fixture } from '../support/fixtures.ts';
import { acknowledging, answerTo, type ServerCover } from '../support/openvpn-server.ts';

const hex = (digits: string) => Buffer.from(digits.replaceAll(' ', ''), 'hex');
const [key, plain, signed, sealed] = fixture('openvpn', 'test-pkt') as [
  Buffer,
  Buffer,
  Buffer,
  Buffer,
];

const none: Cover = { mode: 'none' };
const tlsAuth = (direction: Direction, digest: Digest = 'SHA1'): Cover => ({
  mode: 'tls-auth',
  slots: slotsOf(key, direction),
  otherHalf: otherHalf(key, direction),
  digest,
});
const tlsCrypt: Cover = { mode: 'tls-crypt', slots: slotsOf(key, 1) };
const wrapped = randomBytes(299);
const tlsCryptV2: Cover = { mode: 'tls-crypt-v2', slots: slotsOf(key, 1), wrapped };
const openingOf = (cover: Cover, session: Buffer = hex('86ff6330a13177b2')): Opening => ({
  session,
  unixTimeS: 0x61d3bf6c,
  cover,
});

test('what is sent equals the packets that OpenVPN’s own tests have', () => {
  // tests/unit_tests/openvpn/test_pkt.c
  expect(encodeReset(openingOf(none, hex('6891923fa3103437')))).toEqual(plain);
  expect(encodeReset(openingOf(tlsAuth(1), signed.subarray(1, 9)))).toEqual(signed);
  const later = { ...openingOf(tlsCrypt, sealed.subarray(1, 9)), unixTimeS: 0x61d3f8e1 };
  expect(encodeReset(later)).toEqual(sealed);
});

test('with another digest only the length of the signature is another', () => {
  const sizes = (['SHA1', 'SHA256', 'SHA512'] as const).map(
    (digest) => encodeReset(openingOf(tlsAuth(1, digest))).length,
  );
  // The first two seen on OpenVPN 2.6.14
  expect(sizes).toEqual([42, 54, 86]);
});

test('with tls-crypt-v2 the wrapped key is behind, and the server asked to keep nothing', () => {
  const bytes = encodeReset(openingOf(tlsCryptV2));
  expect(bytes).toHaveLength(353);
  expect(bytes[0]).toBe(10 << 3);
  // doc/tls-crypt-v2.txt: a packet id that begins with 0f
  expect(bytes.subarray(9, 17)).toEqual(hex('0f000001 61d3bf6c'));
  expect(bytes.subarray(-299)).toEqual(wrapped);
});

test('the captured answer of a real server is read', () => {
  // OpenVPN 2.6.14, to 3886ff6330a13177b20000000000
  const answer = hex('40972470d0ed0e5fd1010000000086ff6330a13177b200000000');
  expect(encodeReset(openingOf(none))).toEqual(hex('3886ff6330a13177b20000000000'));
  expect(decodeAnswer(answer, openingOf(none))).toEqual({
    covered: 'as-asked',
    serverTimeS: null,
  });
});

/** Bytes of the halves of the key that are for HMAC and cipher. */
const hmacAt = (half: 0 | 1, size: number) => key.subarray(half * 128 + 64, half * 128 + 64 + size);
const cipherAt = (half: 0 | 1) => key.subarray(half * 128, half * 128 + 32);
const signedBy = (half: 0 | 1, auth: 'sha1' | 'sha256' | 'sha512' = 'sha1'): ServerCover => ({
  auth,
  hmacKey: hmacAt(half, { sha1: 20, sha256: 32, sha512: 64 }[auth]),
});
const sealedBy = (half: 0 | 1): ServerCover => ({
  cipherKey: cipherAt(half),
  hmacKey: hmacAt(half, 32),
});

test.each<[string, Cover, ServerCover | undefined, string]>([
  ['tls-auth, direction 1', tlsAuth(1), signedBy(0), 'as-asked'],
  ['tls-auth, direction 0', tlsAuth(0), signedBy(1), 'as-asked'],
  ['tls-auth without direction', tlsAuth('none'), signedBy(0), 'as-asked'],
  ['tls-auth with SHA256', tlsAuth(1, 'SHA256'), signedBy(0, 'sha256'), 'as-asked'],
  ['tls-auth with SHA512', tlsAuth(1, 'SHA512'), signedBy(0, 'sha512'), 'as-asked'],
  ['tls-crypt', tlsCrypt, sealedBy(0), 'as-asked'],
  ['tls-crypt-v2', tlsCryptV2, sealedBy(0), 'as-asked'],
  ['tls-auth, direction 1, the other half', tlsAuth(1), signedBy(1), 'other-half'],
  ['tls-auth, direction 0, the other half', tlsAuth(0), signedBy(0), 'other-half'],
  ['tls-auth without direction, the other half', tlsAuth('none'), signedBy(1), 'other-half'],
  ['tls-auth, another key', tlsAuth(1), { auth: 'sha1', hmacKey: randomBytes(20) }, 'differently'],
  [
    'tls-crypt, another key of the tag',
    tlsCrypt,
    { cipherKey: cipherAt(0), hmacKey: randomBytes(32) },
    'differently',
  ],
  ['tls-auth, nothing', tlsAuth(1), undefined, 'bare'],
  ['tls-crypt, nothing', tlsCrypt, undefined, 'bare'],
])('an answer is told by how it is covered: %s', (_name, cover, by, covered) => {
  const opening = openingOf(cover);
  const answer = answerTo(opening.session, {
    ...(by && { cover: by }),
    serverTimeS: 1_700_000_000,
  });
  expect(decodeAnswer(answer, opening)).toEqual({
    covered,
    serverTimeS: covered === 'as-asked' ? 1_700_000_000 : null,
  });
});

test('a packet sealed by another key shows nobody’s session, and is none of ours', () => {
  const opening = openingOf(tlsCrypt);
  const cover = { cipherKey: randomBytes(32), hmacKey: randomBytes(32) };
  expect(decodeAnswer(answerTo(opening.session, { cover }), opening)).toBeNull();
  expect(decodeAnswer(answerTo(opening.session, { cover: sealedBy(1) }), opening)).toBeNull();
});

test('what the sides may agree on early is stepped over', () => {
  const opening = openingOf(tlsCryptV2);
  // OpenVPN 2.6.14 with tls-crypt-v2: EARLY_NEG_FLAGS, two bytes, 1
  const body = acknowledging(opening.session, hex('0001 0002 0001'));
  const answer = answerTo(opening.session, { cover: sealedBy(0), body });
  expect(answer).toHaveLength(72);
  expect(decodeAnswer(answer, opening)?.covered).toBe('as-asked');
});

const { session } = openingOf(none);
test.each<[string, Buffer]>([
  ['nothing', Buffer.alloc(0)],
  ['our own packet', encodeReset(openingOf(none))],
  ['a key number', answerTo(session, { opcode: 0x41 })],
  ['the reset of version 1', answerTo(session, { opcode: 2 << 3 })],
  ['an acknowledgement alone', answerTo(session, { opcode: 5 << 3 })],
  ['a session of zeros', answerTo(session, { session: Buffer.alloc(8) })],
  ['the session of somebody else', answerTo(randomBytes(8))],
  ['no acknowledgement', answerTo(session, { body: Buffer.alloc(17) })],
  ['255 acknowledgements', answerTo(session, { body: Buffer.alloc(17, 255) })],
  [
    'an acknowledgement of packet 1',
    answerTo(session, { body: Buffer.concat([hex('0100000001'), session, Buffer.alloc(4)]) }),
  ],
  [
    'packet 1',
    answerTo(session, { body: Buffer.concat([hex('0100000000'), session, hex('00000001')]) }),
  ],
  ['one byte less', answerTo(session).subarray(0, -1)],
  ['one byte more', Buffer.concat([answerTo(session), Buffer.alloc(1)])],
  [
    'a length past the end',
    answerTo(session, { body: acknowledging(session, hex('0001 0003 0001')) }),
  ],
  [
    'a length far past the end',
    answerTo(session, { body: acknowledging(session, hex('0001 ffff 0001')) }),
  ],
  ['an endless packet', answerTo(session, { body: acknowledging(session, Buffer.alloc(65_000)) })],
])('%s is no answer', (_name, bytes) => {
  for (const cover of [none, tlsAuth(1), tlsCrypt, tlsCryptV2]) {
    expect(decodeAnswer(bytes, openingOf(cover))).toBeNull();
  }
});

test('whatever arrives, the decoders give an answer', () => {
  const begun = fc.uint8Array({ maxLength: 90 }).map((array) => Buffer.from([0x40, ...array]));
  fc.assert(
    fc.property(begun, (bytes) => {
      for (const cover of [none, tlsAuth(1), tlsCrypt]) {
        expect(decodeAnswer(bytes, openingOf(cover))).toBeNull();
      }
      const framed = decodeFrame(bytes);
      if (framed.state === 'value') expect(framed.usedBytes).toBeLessThanOrEqual(bytes.length);
    }),
    { numRuns: 500 },
  );
});

test('one flipped bit is never an answer as asked', () => {
  const opening = openingOf(tlsCrypt);
  const answer = answerTo(opening.session, { cover: sealedBy(0) });
  fc.assert(
    fc.property(fc.nat(answer.length * 8 - 1), (bit) => {
      const bytes = Buffer.from(answer);
      const at = bit >> 3;
      bytes[at] = bytes[at]! ^ (1 << (bit & 7));
      expect(decodeAnswer(bytes, opening)?.covered).not.toBe('as-asked');
    }),
  );
});

test('over TCP a packet is read in one piece and byte by byte', () => {
  const packets = [answerTo(session), answerTo(session, { cover: sealedBy(0) })];
  const stream = packets.map(frame);
  expect(decodeAll(decodeFrame, stream)).toEqual(packets);
  expect(decodeAll(decodeFrame, byteByByte(stream))).toEqual(packets);
});

test.each([
  ['0', '0000'],
  ['65535', 'ffff'],
  ['less than any answer has', '0019'],
  ['one more than the most', (openvpnPacketBytesMax + 1).toString(16).padStart(4, '0')],
])('a length of %s is malformed', (_name, length) => {
  expect(decodeFrame(hex(length)).state).toBe('malformed');
});
