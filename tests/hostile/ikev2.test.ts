/** Bad peers where IKEv2 is expected: nothing that they send passes for an answer, or takes long. */
import { randomBytes } from 'node:crypto';
import { expect, test } from 'vitest';
import { ask } from '../../src/probe/registry.ts';
import { ikev2 } from '../../src/probe/settings/ikev2.ts';
import { datagramPeer } from '../support/datagram-peer.ts';
import { notify, response, spiIn, vendorId, withHeader } from '../support/ike-responder.ts';
import { context } from '../support/peer.ts';

const settingsFor = (port: number) =>
  ikev2.schema.parse({ kind: 'ikev2', host: '127.0.0.1', port, marker: 'no' });

/** They answer nothing of ours. */
function strange(request: Buffer): readonly Buffer[] {
  const good = response(spiIn(request), [notify(14)]);
  return [
    ...Array.from({ length: 40 }, (_, length) => randomBytes(length)),
    ...[1_400, 9_000, 65_507].map((length) => randomBytes(length)),
    request,
    response(randomBytes(8), [notify(14)]),
    response(spiIn(request), [notify(14)], { flags: 0x28 }),
    response(spiIn(request), [notify(14)], { exchange: 35 }),
    response(spiIn(request), [notify(14)], { messageId: 7 }),
    Buffer.concat([Buffer.alloc(4), good]),
    good.subarray(0, 27),
  ];
}

test('nothing strange is an answer, and nothing strange hinders the true one', async () => {
  for (const answers of [true, false]) {
    await using one = await datagramPeer((bytes, answer) => {
      for (const bad of strange(bytes)) answer(bad);
      if (answers) answer(response(spiIn(bytes), [notify(14)]));
    });
    const observation = await ask(
      settingsFor(one.port),
      context({ timeoutMs: answers ? 5_000 : 400 }),
    );
    expect(observation.outcome).toBe(answers ? 'answered' : 'unproven');
  }
});

const payloads = (digits: string) => Buffer.from(digits, 'hex');
const broken: readonly (readonly [string, (spi: Buffer) => Buffer])[] = [
  ...[0, 1, 2, 3].map((length): readonly [string, (spi: Buffer) => Buffer] => [
    `a payload of length ${length}`,
    (spi) => withHeader(spi, 41, payloads(`2900000${length}`)),
  ]),
  ['a chain past the end', (spi) => withHeader(spi, 41, payloads('29000004'))],
  ['a chain of 16000 payloads', (spi) => withHeader(spi, 41, payloads('29000004'.repeat(16_000)))],
  [
    'an SPI of 255 bytes in a notify of eight',
    (spi) => response(spi, [{ type: 41, body: payloads('01ff000e00000000') }]),
  ],
  ['a cookie of 65 bytes', (spi) => response(spi, [notify(16_390, Buffer.alloc(65))])],
  [
    'a length of four gigabytes',
    (spi) => response(spi, [notify(14)], { lengthBytes: 2 ** 32 - 1 }),
  ],
  ['a length of 0', (spi) => response(spi, [notify(14)], { lengthBytes: 0 })],
];

test.each(broken)('%s is malformed, and soon', async (_name, make) => {
  await using one = await datagramPeer((bytes, answer) => answer(make(spiIn(bytes))));
  const begun = performance.now();
  expect(await ask(settingsFor(one.port), context())).toMatchObject({
    outcome: 'failed',
    trouble: { layer: 'protocol', reason: 'malformed' },
  });
  expect(performance.now() - begun).toBeLessThan(2_500);
});

test('a vendor id that attacks arrives stripped and bounded', async () => {
  const attack = Buffer.from(`\u001b]0;owned\u0007${'A'.repeat(60_000)}`);
  await using one = await datagramPeer((bytes, answer) =>
    answer(response(spiIn(bytes), [notify(14), vendorId(attack)])),
  );
  const { facts } = await ask(settingsFor(one.port), context());
  expect(facts['vendorIds']).toBe('1b5d303b6f776e656407414141414141…');
});
