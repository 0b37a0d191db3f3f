/** The `tcp` probe against peers on loopback. */
import { expect, test } from 'vitest';
import { ask } from '../../src/probe/registry.ts';
import { tcp } from '../../src/probe/settings/tcp.ts';
import { closedPort, context, drip, peer } from '../support/peer.ts';

const asked = (port: number, more: object = {}, timeoutMs = 5_000) =>
  ask(tcp.schema.parse({ kind: 'tcp', host: '127.0.0.1', port, ...more }), context({ timeoutMs }));

test('a port that accepts is answered, and nothing is sent to it', async () => {
  await using one = await peer(() => {});
  expect(await asked(one.port)).toMatchObject({ outcome: 'answered', trouble: null });
  expect(await one.endings()).toEqual(['fin']);
  expect(one.received()).toHaveLength(0);
});

test('a port that does not accept is failed', async () => {
  expect(await asked(await closedPort())).toMatchObject({
    outcome: 'failed',
    trouble: { reason: 'refused' },
  });
});

test.each(['+PONG', '/^\\+po.g/i'])(
  'the expected %s is found over chunk borders',
  async (expected) => {
    await using one = await peer((socket) =>
      socket.once('data', () =>
        drip(
          socket,
          ['+P', 'ON', 'G\r\n'].map((c) => Buffer.from(c)),
        ),
      ),
    );
    expect(await asked(one.port, { send: 'PING\r\n', expect: expected })).toMatchObject({
      outcome: 'answered',
      facts: { said: '+PONG' },
    });
    expect(one.received().toString()).toBe('PING\r\n');
  },
);

test.each([
  ['goes on waiting', false],
  ['closes', true],
])('a peer that says something else and %s lacks the text', async (_name, closes) => {
  await using one = await peer((socket) => {
    socket.write('-ERR \u001b[31munknown');
    if (closes) socket.end();
  });
  expect(await asked(one.port, { expect: '+PONG' }, 200)).toMatchObject({
    outcome: 'failed',
    trouble: {
      layer: 'answer',
      reason: 'text-missing',
      detail: 'it says “-ERR [31munknown”, which lacks +PONG',
    },
  });
});

test('a peer that says nothing does not answer, one that closes closed early', async () => {
  await using silent = await peer(() => {});
  expect((await asked(silent.port, { expect: 'x' }, 100)).trouble?.reason).toBe('no-reply');
  await using closing = await peer((socket) => socket.end());
  expect((await asked(closing.port, { expect: 'x' })).trouble?.reason).toBe('closed-early');
});

test('a peer that is cut off after some words keeps its own trouble', async () => {
  await using one = await peer((socket) =>
    socket.write('hal', () => setTimeout(() => socket.resetAndDestroy(), 20)),
  );
  expect((await asked(one.port, { expect: 'half' })).trouble?.reason).toBe('reset');
});

test('an expression that never ends on the text does not hold the daemon', async () => {
  await using one = await peer((socket) => socket.write('a'.repeat(40)));
  const observation = await asked(one.port, { expect: '/^(a+)+$b/' }, 3_000);
  expect(observation.trouble?.reason).toBe('text-missing');
  expect(observation.tookUs).toBeLessThan(2_000_000);
});

test('the shorthand is host and port, and the port must be given', () => {
  expect(tcp.fromUrl(new URL('tcp://db.fernhill.home.arpa:22'))).toEqual({
    kind: 'tcp',
    host: 'db.fernhill.home.arpa',
    port: 22,
  });
  expect(() => tcp.fromUrl(new URL('tcp://db.fernhill.home.arpa'))).toThrow('expected a port');
  const six = tcp.schema.parse(tcp.fromUrl(new URL('tcp://[::1]:22')));
  expect(six.host).toBe('::1');
  expect(tcp.where(six)).toBe('[::1]:22');
});
