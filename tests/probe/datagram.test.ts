/** The UDP side of every probe, against peers on loopback. */
import { createSocket } from 'node:dgram';
import { afterAll, afterEach, expect, test } from 'vitest';
import { datagramsCountMax } from '../../src/base/limits.ts';
import type { Observation } from '../../src/base/values.ts';
import { correspond, type DatagramWire } from '../../src/probe/datagram.ts';
import type { Course } from '../../src/probe/observe.ts';
import { closedDatagramPort, datagramPeer, openSocketsCount } from '../support/datagram-peer.ts';
import { context } from '../support/peer.ts';

const host = '127.0.0.1';

const answerIn = (bytes: Buffer): string | null => {
  const text = bytes.toString();
  return text.startsWith('here') ? text : null;
};

async function callOnce(wire: DatagramWire, course: Course): Promise<Observation> {
  wire.send(Buffer.from('anybody?'));
  const heard = await wire.receive((bytes, elsewhere) => {
    const said = answerIn(bytes);
    return said === null ? null : { said, elsewhere };
  });
  return heard.ok ? course.answered(heard.value) : course.troubled(heard.trouble);
}

const unhandled: unknown[] = [];
process.on('uncaughtException', (error) => unhandled.push(error));
afterAll(() => expect(unhandled).toEqual([]));
const socketsCount = openSocketsCount();
afterEach(() => expect.poll(openSocketsCount).toBe(socketsCount));

test('what belongs to nothing is ignored, and the answer behind it is found', async () => {
  await using one = await datagramPeer((_bytes, answer) => {
    for (const text of ['', 'noise', 'here I am', 'here again']) answer(Buffer.from(text));
  });
  const observation = await correspond({ host, port: one.port }, context(), callOnce);
  expect(observation).toMatchObject({ outcome: 'answered', facts: { said: 'here I am' } });
  expect(observation.facts).not.toHaveProperty('elsewhere');
  expect(one.received.map(({ bytes }) => bytes.toString())).toEqual(['anybody?']);
});

test('datagrams that came together are given one after the other', async () => {
  await using one = await datagramPeer((_bytes, answer) => {
    for (const text of ['here 1', 'here 2', 'here 3']) answer(Buffer.from(text));
  });
  const observation = await correspond(
    { host, port: one.port },
    context(),
    async (wire, course) => {
      wire.send(Buffer.from('all of you?'));
      const said: string[] = [];
      while (said.length < 3) {
        const next = await wire.receive(answerIn);
        if (!next.ok) return course.troubled(next.trouble);
        said.push(next.value);
        await new Promise((resolve) => setImmediate(resolve));
      }
      return course.answered({ said: said.join() });
    },
  );
  expect(observation.facts).toEqual({ said: 'here 1,here 2,here 3' });
});

test('a port on which nothing listens is refused at once', async () => {
  const port = await closedDatagramPort();
  const observation = await correspond({ host, port }, context(), callOnce);
  expect(observation).toMatchObject({
    outcome: 'failed',
    trouble: { layer: 'port', reason: 'refused', detail: `nothing listens on 127.0.0.1:${port}` },
  });
  expect(observation.trouble?.hint).toContain('A firewall that rejects');
  expect(observation.tookUs).toBeLessThan(2_000_000);
});

test.each([false, true])('silence proves nothing (hears elsewhere: %s)', async (hearsElsewhere) => {
  await using one = await datagramPeer(() => {});
  const target = { host, port: one.port, hearsElsewhere };
  const observation = await correspond(target, context({ timeoutMs: 150 }), callOnce);
  expect(observation).toMatchObject({
    outcome: 'unproven',
    trouble: {
      reason: 'silent',
      detail: `nothing came back from 127.0.0.1:${one.port} within 0.15 s`,
    },
  });
  expect(observation.tookUs).toBeLessThan(1_500_000);
});

test('a shorter wait ends by itself, and the same port is used after it', async () => {
  await using one = await datagramPeer((bytes, answer) => {
    if (bytes.toString() === 'again') answer(Buffer.from('here'));
  });
  const observation = await correspond(
    { host, port: one.port },
    context(),
    async (wire, course) => {
      wire.send(Buffer.from('once'));
      const first = await wire.receive(answerIn, 30);
      wire.send(Buffer.from('again'));
      const second = await wire.receive(answerIn, 5_000);
      return course.answered({ first: first.ok, second: second.ok, left: wire.remainingMs() > 0 });
    },
  );
  expect(observation.facts).toEqual({ first: false, second: true, left: true });
  const ports = one.received.map(({ from }) => from.port);
  expect(ports).toHaveLength(2);
  expect(new Set(ports).size).toBe(1);
});

test('an answer from another address is heard only where it is wanted, and named', async () => {
  await using other = await datagramPeer(() => {}, '127.0.0.2');
  const second = createSocket('udp4');
  await new Promise<void>((resolve) => second.bind(0, '127.0.0.3', resolve));
  await using one = await datagramPeer((_bytes, _answer, from) =>
    second.send('here, next door', from.port, from.address),
  );
  const { port } = one;
  const deaf = await correspond({ host, port }, context({ timeoutMs: 100 }), callOnce);
  expect(deaf.trouble?.reason).toBe('silent');
  const hearing = await correspond({ host, port, hearsElsewhere: true }, context(), callOnce);
  expect(hearing).toMatchObject({
    outcome: 'answered',
    facts: { said: 'here, next door', elsewhere: `127.0.0.3:${second.address().port}` },
  });
  expect(other.received).toEqual([]);
  await new Promise<void>((resolve) => second.close(() => resolve()));
});

test('a socket that hears elsewhere still hears the asked address as itself, and a refusal', async () => {
  await using one = await datagramPeer((_bytes, answer) => answer(Buffer.from('here')));
  const target = { host, port: one.port, hearsElsewhere: true };
  const observation = await correspond(target, context(), callOnce);
  expect(observation.facts).toEqual({ said: 'here' });
  const port = await closedDatagramPort();
  const refused = await correspond({ host, port, hearsElsewhere: true }, context(), callOnce);
  expect(refused.trouble?.reason).toBe('refused');
});

test('IPv6 works the same', async () => {
  await using one = await datagramPeer((_bytes, answer) => answer(Buffer.from('here')), '::1');
  const target = { host: '::1', port: one.port, hearsElsewhere: true };
  expect(await correspond(target, context(), callOnce)).toMatchObject({ facts: { said: 'here' } });
});

test('a flood is looked at for so long, and not remembered', async () => {
  let isOver = false;
  await using one = await datagramPeer((_bytes, answer) => {
    const pour = () => {
      for (let count = 0; count < 200; count++) answer(Buffer.alloc(1_200, 'x'));
      if (!isOver) setImmediate(pour);
    };
    pour();
  });
  let looked = 0;
  const observation = await correspond(
    { host, port: one.port },
    context({ timeoutMs: 10_000 }),
    async (wire, course) => {
      wire.send(Buffer.from('anybody?'));
      const heard = await wire.receive(() => {
        looked += 1;
        return null;
      });
      return heard.ok ? course.answered() : course.troubled(heard.trouble);
    },
  );
  isOver = true;
  expect(looked).toBeLessThanOrEqual(datagramsCountMax);
  expect(looked).toBeGreaterThan(datagramsCountMax / 2);
  expect(observation).toMatchObject({
    outcome: 'unproven',
    trouble: { detail: expect.stringContaining('there was no answer to the question') },
  });
  expect(observation.tookUs).toBeLessThan(9_000_000);
});

test('the largest datagram that UDP can carry does no harm', async () => {
  await using one = await datagramPeer((_bytes, answer) => {
    answer(Buffer.alloc(65_507));
    answer(Buffer.from('here'));
  });
  expect(await correspond({ host, port: one.port }, context(), callOnce)).toMatchObject({
    outcome: 'answered',
  });
});

test('the end of the daemon ends the exchange at once, and nothing is sent after it', async () => {
  await using one = await datagramPeer(() => {});
  const stopping = new AbortController();
  const { signal } = stopping;
  const observation = await correspond(
    { host, port: one.port },
    context({ signal }),
    async (wire, course) => {
      wire.send(Buffer.from('once'));
      setTimeout(() => stopping.abort(), 20);
      const heard = await wire.receive(answerIn);
      wire.send(Buffer.from('too late'));
      return course.answered({ heard: heard.ok, leftMs: wire.remainingMs() });
    },
  );
  expect(observation.facts).toEqual({ heard: false, leftMs: 0 });
  expect(observation.tookUs).toBeLessThan(2_000_000);
  // What was sent before this has arrived before it.
  const later = createSocket('udp4');
  later.send('marker', one.port, host);
  const arrived = () => one.received.map(({ bytes }) => bytes.toString());
  await expect.poll(arrived).toContain('marker');
  later.close();
  expect(arrived()).toEqual(['once', 'marker']);
});

test('of several addresses the first is asked that this machine can send to', async () => {
  await using one = await datagramPeer((_bytes, answer) => answer(Buffer.from('here')));
  // Sending to the broadcast address needs a permission that the socket does not have (udp(7): EACCES).
  const lookup = async () => ['255.255.255.255', host];
  const target = { host: 'vpn.fernhill.home.arpa', port: one.port };
  const observation = await correspond(target, context({ lookup }), callOnce);
  expect(observation).toMatchObject({ outcome: 'answered' });
  expect(Object.keys(observation.phases)).toEqual(['resolveUs', 'speakUs']);

  const nowhere = await correspond(
    target,
    context({ lookup: async () => ['255.255.255.255'] }),
    callOnce,
  );
  expect(nowhere.trouble).toMatchObject({ layer: 'network', reason: 'rejected' });
});

test('a name without an address is not found', async () => {
  const lookup = () => Promise.reject(Object.assign(new Error('no'), { code: 'ENOTFOUND' }));
  const target = { host: 'vpn.fernhill.home.arpa', port: 51_820 };
  const observation = await correspond(target, context({ lookup }), callOnce);
  expect(observation.trouble).toMatchObject({ layer: 'name', reason: 'not-found' });
});

test('a defect in the talk comes through, and the socket is closed', async () => {
  await using one = await datagramPeer(() => {});
  const defect = correspond({ host, port: one.port, hearsElsewhere: true }, context(), async () => {
    throw new Error('a defect');
  });
  await expect(defect).rejects.toThrow('a defect');
});
