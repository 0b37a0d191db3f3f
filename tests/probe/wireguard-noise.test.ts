/** WireGuard's primitives against the published values of the algorithms that they are made of. */
import { expect, test } from 'vitest';
import {
  hash,
  kdf1,
  kdf2,
  kdf3,
  mac,
  open,
  openExtended,
  seal,
} from '../../src/probe/wireguard-noise.ts';
import { agree, makePrivateKey, publicOf } from '../../src/probe/x25519.ts';

const hex = (text: string) => Buffer.from(text, 'hex');
const counted = (from: number, count: number) =>
  Buffer.from(Array.from({ length: count }, (_, place) => from + place));

test('the hash is BLAKE2s', () => {
  // RFC 7693, appendix B
  const abc = '508c5e8c327c14e2e1a72ba34eeb452f37458b209ed63a294d999b4c86675982';
  expect(hash(Buffer.from('abc')).toString('hex')).toBe(abc);
  expect(hash(Buffer.from('a'), Buffer.from('bc')).toString('hex')).toBe(abc);
});

test('the MAC is keyed BLAKE2s of 16 bytes, which is not half of the one of 32', () => {
  // Of 32 bytes the reference implementation lists for this key and no input (blake2-kat.json); the length is hashed in
  // (RFC 7693 §2.5).
  const listed = '48a8997da407876b3d79c0d92325ad3b89cbb754d86ab71aee047ad345fd2c49';
  const made = mac(counted(0, 32), Buffer.alloc(0)).toString('hex');
  expect(listed).not.toContain(made);
  // No source lists one of 16 bytes: computed with hashlib.blake2s(b"", key=bytes(range(32)), digest_size=16), Python 3.11.
  expect(made).toBe('9536f9b267655743dee97b8a670f9f53');
});

test('keys are derived as a reference implementation derives them', () => {
  // wireguard-go, device/kdf_test.go
  const key = hex('746573742d6b6579');
  const input = hex('746573742d696e707574');
  const three = [
    '6f0e5ad38daba1bea8a0d213688736f19763239305e0f58aba697f9ffc41c633',
    'df1194df20802a4fe594cde27e92991c8cae66c366e8106aaa937a55fa371e8a',
    'fac6e2745a325f5dc5d11a5b165aad08b0ada28e7b4e666b7c077934a4d76c24',
  ];
  expect(kdf3(key, input).map((one) => one.toString('hex'))).toEqual(three);
  expect(kdf2(key, input).map((one) => one.toString('hex'))).toEqual(three.slice(0, 2));
  expect(kdf1(key, input).toString('hex')).toBe(three[0]);
});

test('keys are agreed on by X25519', () => {
  // RFC 7748 §5.2, first vector
  const scalar = hex('a546e36bf0527c9d3b16154b82465edd62144c0ac1fc5a18506a2244ba449ac4');
  const point = hex('e6db6867583030db3594c1a424b15f7c726624ec26b3353b10a903a6d0ab1c4c');
  expect(agree(scalar, point)?.toString('hex')).toBe(
    'c3da55379de9c6908e94ea4df28d084f32eccf03491c71f754b4075577a28552',
  );
  // RFC 7748 §6.1
  const alice = hex('77076d0a7318a57d3c16c17251b26645df4c2f87ebc0992ab177fba51db92c2a');
  const bob = hex('5dab087e624a8a4b79e17f8b83800ee66f3bb1292618b6fd1c2f8b27ff88e0eb');
  expect(publicOf(alice).toString('hex')).toBe(
    '8520f0098930a754748b7ddcb43ef75a0dbf3a0d26381af4eba4a98eaa9b4e6a',
  );
  expect(publicOf(bob).toString('hex')).toBe(
    'de9edb7d7b7dc1b4d35b61c2ece435373f8343c85b78674dadfc7e146f882b4f',
  );
  const shared = '4a5d9d5ba4ce2de1728e3bf480350f25e07e21c947d19e3376f09b3c1e161742';
  expect(agree(alice, publicOf(bob))?.toString('hex')).toBe(shared);
  expect(agree(bob, publicOf(alice))?.toString('hex')).toBe(shared);
});

// The points of low order: D. J. Bernstein, "Curve25519", list at cr.yp.to/ecdh.html#validate (written out from memory,
// and confirmed here: each gives zeros, which RFC 7748 §6.1 has an implementation refuse).
test.each([
  '0000000000000000000000000000000000000000000000000000000000000000',
  '0100000000000000000000000000000000000000000000000000000000000000',
  'e0eb7a7c3b41b8ae1656e3faf19fc46ada098deb9c32b1fd866205165f49b800',
  '5f9c95bca3508c24b1d0b1559c83ef5b04445cc4581c8e86d8224eddd09f1157',
  'ecffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f',
  'edffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f',
  'eeffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f',
])('nothing is agreed on with the point %s, which belongs to nobody', (point) => {
  expect(agree(makePrivateKey(), hex(point))).toBeNull();
});

test('a made private key is new and has the bits set that the curve sets anyway', () => {
  const [one, other] = [makePrivateKey(), makePrivateKey()];
  expect(one.equals(other)).toBe(false);
  for (const key of [one, other]) {
    expect(key).toHaveLength(32);
    // RFC 7748 §5, decodeScalar25519
    expect((key[0] ?? 1) & 7).toBe(0);
    expect((key[31] ?? 0) & 0xc0).toBe(0x40);
  }
});

const sunscreen = Buffer.from(
  "Ladies and Gentlemen of the class of '99: If I could offer you only one tip for the future, sunscreen would be it.",
);
const bound = hex('50515253c0c1c2c3c4c5c6c7');

test('texts are sealed by ChaCha20-Poly1305', () => {
  // RFC 8439 §2.8.2
  const nonce = hex('070000004041424344454647');
  const sealed = hex(
    'd31a8d34648e60db7b86afbc53ef7ec2a4aded51296e08fea9e2b5a736ee62d63dbea45e8ca9671282fafb69da92728b1a71de0a9e060b29' +
      '05d6a5b67ecd3b3692ddbd7f2d778b8c9803aee328091b58fab324e4fad675945585808b4831d7bc3ff4def08e4b7a9de576d26586cec64b' +
      '61161ae10b594f09e26a7e902ecbd0600691',
  );
  expect(seal(counted(0x80, 32), sunscreen, bound, nonce)).toEqual(sealed);
  expect(open(counted(0x80, 32), sealed, bound, nonce)).toEqual(sunscreen);
});

test('cookies are sealed by XChaCha20-Poly1305', () => {
  // draft-irtf-cfrg-xchacha-03, A.3.1
  const nonce = counted(0x40, 24);
  const sealed = hex(
    'bd6d179d3e83d43b9576579493c0e939572a1700252bfaccbed2902c21396cbb731c7f1b0b4aa6440bf3a82f4eda7e39ae64c6708c54c216' +
      'cb96b72e1213b4522f8c9ba40db5d945b11b69b982c1bb9e3f3fac2bc369488f76b2383565d3fff921f9664c97637da9768812f615c68b13' +
      'b52ec0875924c1c7987947deafd8780acf49',
  );
  expect(openExtended(counted(0x80, 32), nonce, sealed, bound)).toEqual(sunscreen);
  sealed.writeUInt8(sealed.readUInt8(3) ^ 1, 3);
  expect(openExtended(counted(0x80, 32), nonce, sealed, bound)).toBeNull();
  expect(openExtended(counted(0x80, 32), nonce, sealed.subarray(0, 7), bound)).toBeNull();
});

test('without a nonce the counter is zero, and what was changed on the way does not open', () => {
  const key = counted(1, 32);
  const sealed = seal(key, Buffer.from('kiln'), bound);
  expect(sealed).toEqual(seal(key, Buffer.from('kiln'), bound, Buffer.alloc(12)));
  expect(open(key, sealed, bound)).toEqual(Buffer.from('kiln'));
  expect(open(counted(2, 32), sealed, bound)).toBeNull();
  expect(open(key, sealed, Buffer.alloc(0))).toBeNull();
  for (let place = 0; place < sealed.length; place++) {
    const changed = Buffer.from(sealed);
    changed.writeUInt8(changed.readUInt8(place) ^ 0x80, place);
    expect(open(key, changed, bound)).toBeNull();
  }
  expect(open(key, sealed.subarray(0, 15), bound)).toBeNull();
});
