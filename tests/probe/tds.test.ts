/** The `tds` probe against a stand-in, in the clear and with TLS first. */
import { createServer, type TLSSocket } from 'node:tls';
import { expect, test } from 'vitest';
import { keepInMemory } from '../../src/probe/keep-in-memory.ts';
import type { ProbeContext } from '../../src/probe/probe.ts';
import { ask } from '../../src/probe/registry.ts';
import { tds } from '../../src/probe/settings/tds.ts';
import { encodePrelogin } from '../../src/probe/tds-messages.ts';
import { selfSigned } from '../support/certificates.ts';
import { context, peer } from '../support/peer.ts';
import { errorAnswer, ordinaryOptions, tdsServer } from '../support/tds-server.ts';

const pair = selfSigned('IP:127.0.0.1');
const trusted = { certificate: { trust: pair.cert } };

function asked(port: number, given: object = {}, more: Partial<ProbeContext> = {}) {
  const settings = tds.schema.parse({ kind: 'tds', host: '127.0.0.1', port, ...given });
  return ask(settings, context(more));
}

/** A server that wants TLS first: it closes at everything else. `accepted` counts what it took for TLS, and the rest. */
async function strictServer() {
  const accepted = { tls: 0, plain: 0, protocols: [] as unknown[] };
  const server = createServer({ ...pair, ALPNProtocols: ['tds/8.0'] }, (socket: TLSSocket) => {
    accepted.tls++;
    accepted.protocols.push(socket.alpnProtocol);
    socket.on('error', () => {});
    tdsServer()(socket);
  });
  server.on('tlsClientError', (_error, socket) => {
    accepted.plain++;
    socket.destroy();
  });
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  const bound = server.address();
  return {
    port: typeof bound === 'object' && bound ? bound.port : 0,
    accepted,
    [Symbol.asyncDispose]: () => new Promise<void>((resolve) => server.close(() => resolve())),
  };
}

test('a server that answers PRELOGIN is answered, and nothing more is sent', async () => {
  await using server = await peer(tdsServer());
  expect(await asked(server.port)).toMatchObject({
    outcome: 'answered',
    trouble: null,
    facts: { serverVersion: '16.0.1000', encryption: 'not supported' },
  });
  expect(await server.endings()).toEqual(['fin']);
  expect(server.received()).toEqual(encodePrelogin(undefined));
});

test('an instance is asked for only where it is named, and another one is trouble', async () => {
  const other = ordinaryOptions.map(([token, content]) =>
    token === 0x02 ? ([token, Uint8Array.of(1)] as const) : ([token, content] as const),
  );
  await using server = await peer(tdsServer(other));
  expect(await asked(server.port)).toMatchObject({ outcome: 'answered' });
  expect(await asked(server.port, { instance: 'KILN' })).toMatchObject({
    outcome: 'failed',
    trouble: { reason: 'value-differs', detail: expect.stringContaining('KILN') },
    facts: { serverVersion: '16.0.1000' },
  });
  await using right = await peer(tdsServer());
  expect(await asked(right.port, { instance: 'KILN' })).toMatchObject({ outcome: 'answered' });
});

test.each([
  [17_809, 'too-many-connections'],
  [10_928, 'too-many-connections'],
  [17_187, 'starting-up'],
  [18_401, 'starting-up'],
  [6_005, 'shutting-down'],
  [40_613, 'server-error'],
])('error %d before the sign-in is %s', async (number, reason) => {
  await using server = await peer((socket) => {
    socket.once('data', () => socket.write(errorAnswer(number, 'Its own words.')));
  });
  expect(await asked(server.port)).toMatchObject({
    outcome: 'failed',
    trouble: { reason, detail: `it says “Its own words. [${number}]”` },
  });
});

test('a server that wants TLS first is asked again so, within the same deadline, and from then on only so', async () => {
  await using server = await strictServer();
  const keep = keepInMemory();
  for (let turn = 0; turn < 3; turn++) {
    expect(await asked(server.port, trusted, { keep })).toMatchObject({
      outcome: 'answered',
      facts: { serverVersion: '16.0.1000', encryption: 'strict', tlsVersion: 'TLSv1.3' },
    });
  }
  expect(server.accepted).toEqual({ tls: 3, plain: 1, protocols: Array(3).fill('tds/8.0') });
});

test('its certificate is always judged', async () => {
  await using server = await strictServer();
  for (const given of [{}, { encryption: 'strict' }]) {
    expect(await asked(server.port, given)).toMatchObject({
      outcome: 'failed',
      trouble: { layer: 'tls', reason: 'untrusted' },
      facts: { certificateDaysLeft: expect.any(Number) },
    });
  }
  expect(server.accepted.plain).toBe(1);
});

test('a server that no longer wants TLS first is found again', async () => {
  const keep = keepInMemory();
  await using server = await peer(tdsServer());
  await keep.write(`tds is asked at 127.0.0.1:${server.port}`, 'strictly');
  for (let turn = 0; turn < 2; turn++) {
    expect(await asked(server.port, {}, { keep })).toMatchObject({
      outcome: 'answered',
      facts: { encryption: 'not supported' },
    });
  }
  expect(server.connectionsCount()).toBe(3);
});

test('the settings', () => {
  expect(tds.schema.parse(tds.fromUrl(new URL('tds://db.fernhill.home.arpa')))).toEqual({
    kind: 'tds',
    host: 'db.fernhill.home.arpa',
    port: 1433,
    encryption: 'auto',
  });
  expect(tds.where(tds.schema.parse({ kind: 'tds', host: '::1' }))).toBe('[::1]:1433');
});

test.each(['tds://u:p@a/', 'tds://a/orders', 'tds://a?x=1', 'tds:///'])(
  'the shorthand refuses %s',
  (url) => {
    expect(() => tds.fromUrl(new URL(url))).toThrow('expected');
  },
);

test.each([{ instance: 'a b' }, { instance: '' }, { encryption: 'off' }, { user: 'x' }])(
  'the settings refuse %j',
  (given) => {
    expect(tds.schema.safeParse({ kind: 'tds', host: 'a', ...given }).success).toBe(false);
  },
);
