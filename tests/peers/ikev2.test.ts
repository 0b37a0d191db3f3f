/** The `ikev2` probe against a real responder: strongSwan's charon in a network namespace of its own. */
import { randomBytes } from 'node:crypto';
import { createSocket } from 'node:dgram';
import { once } from 'node:events';
import { expect, test } from 'vitest';
import { askIkev2 } from '../../src/probe/ikev2.ts';
import { ikev2 } from '../../src/probe/settings/ikev2.ts';
import { context } from '../support/peer.ts';
import { needs } from '../support/peers.ts';
import { type Charon, charonProgram, startCharon } from './support/charon.ts';
import { namespaceHindrance } from './support/namespace.ts';

const suite = needs('strongswan-charon', charonProgram, namespaceHindrance);

const ask = ({ address }: Pick<Charon, 'address'>, more: object = {}, timeoutMs = 5_000) =>
  askIkev2(ikev2.schema.parse({ kind: 'ikev2', host: address, ...more }), context({ timeoutMs }));

const refusesRequest = {
  outcome: 'answered',
  trouble: null,
  facts: { reply: 'NO_PROPOSAL_CHOSEN' },
};
const silent = { outcome: 'unproven', trouble: { layer: 'port', reason: 'silent' } };

suite('charon', () => {
  test('it answers with and without a connection, on its other port with the marker', async () => {
    for (const hasConnection of [false, true]) {
      await using charon = await startCharon({ hasConnection });
      expect(await ask(charon)).toMatchObject(refusesRequest);
      expect(await ask(charon, { port: 4_500 })).toMatchObject(refusesRequest);
      expect(await ask(charon, { port: 4_500, marker: 'no' }, 500)).toMatchObject(silent);
      expect(await ask(charon, { marker: 'yes' }, 500)).toMatchObject(silent);
      // Nobody listens on a third one.
      expect(await ask(charon, { port: 501 })).toMatchObject({
        outcome: 'failed',
        trouble: { layer: 'port', reason: 'refused' },
      });
    }
  });

  test('moved to another port it wants the marker, which is the default there', async () => {
    await using charon = await startCharon({ port: 22_500, markedPort: 24_500 });
    for (const port of [22_500, 24_500]) {
      expect(await ask(charon, { port })).toMatchObject(refusesRequest);
    }
    expect(await ask(charon, { port: 22_500, marker: 'no' }, 500)).toMatchObject(silent);
  });

  test('once it has stopped, its port is closed', async () => {
    await using charon = await startCharon();
    expect((await ask(charon)).outcome).toBe('answered');
    await charon.stop();
    expect((await ask(charon)).trouble?.reason).toBe('refused');
  });

  test('with clients half-open it wants cookies first, which is an answer', async () => {
    await using charon = await startCharon({
      hasConnection: true,
      settings: ['cookie_threshold = 2'],
    });
    for (let count = 1; count <= 2; count++) {
      expect(await ask(charon)).toMatchObject(refusesRequest);
      await leaveHalfOpen(charon);
      // The count does see what is half-open.
      expect(charon.associationsCount()).toBe(count);
    }
    expect(await ask(charon)).toMatchObject({
      outcome: 'answered',
      trouble: null,
      facts: { reply: 'COOKIE', cookie: true },
    });
  });

  test('thirty probes leave nothing half-open, and the same few lines of the log each', async () => {
    await using charon = await startCharon({ hasConnection: true });
    await ask(charon);
    const before = charon.log().length;
    for (let count = 0; count < 30; count++) {
      expect(await ask(charon)).toMatchObject(refusesRequest);
    }
    expect(charon.associationsCount()).toBe(0);
    const lines = charon.log().slice(before);
    expect(lines).toHaveLength(30 * 8);
    expect(lines.filter((line) => line.endsWith('received proposals unacceptable'))).toHaveLength(
      30,
    );
  });
});

/** As a client does that goes away after its first message: this proposal is the configured one. */
async function leaveHalfOpen({ address, port }: Charon): Promise<void> {
  const proposal =
    '22000030 0000002c 01010004 0300000c0100000c800e0100 0300000802000005 030000080300000c 000000080400001f';
  const payloads = Buffer.concat([
    Buffer.from(proposal.replaceAll(' ', ''), 'hex'),
    Buffer.from('28000028001f0000', 'hex'),
    randomBytes(32),
    Buffer.from('00000024', 'hex'),
    randomBytes(32),
  ]);
  const header = Buffer.alloc(28);
  randomBytes(8).copy(header);
  header.write('21202208', 16, 'hex');
  header.writeUInt32BE(28 + payloads.length, 24);
  const socket = createSocket('udp4');
  const answer = once(socket, 'message');
  socket.send(Buffer.concat([header, payloads]), port, address);
  await answer;
  await new Promise<void>((resolve) => socket.close(resolve));
}
