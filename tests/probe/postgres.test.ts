/** The `postgres` probe against scripted servers: what a real one does not do on demand. Its settings, too. */
import { createHash, createHmac, pbkdf2Sync } from 'node:crypto';
import { expect, test } from 'vitest';
import { encodeSslRequest, encodeStartup } from '../../src/probe/postgres-messages.ts';
import { md5Answer } from '../../src/probe/postgres-sign-in.ts';
import { ask } from '../../src/probe/registry.ts';
import { postgres } from '../../src/probe/settings/postgres.ts';
import { context, peer } from '../support/peer.ts';
import {
  authentication,
  errorResponse,
  message,
  one,
  parameter,
  ready,
  scripted,
} from '../support/postgres-server.ts';

const password = 'pencil of the probe';
const sasl = authentication(10, 'SCRAM-SHA-256\0\0');

const asked = (port: number, more: object = {}) =>
  ask(
    postgres.schema.parse({ kind: 'postgres', host: '127.0.0.1', port, ...more }),
    context({ timeoutMs: 3_000 }),
  );

/** A server that knows this password, and cheats where a test says so. */
function scramServer(knows: string, cheat: { iterations?: number; nonce?: string } = {}) {
  const salt = Buffer.from('salt of the test');
  let bare = '';
  let first = '';
  return [
    (received: Buffer) => {
      bare = received.toString('latin1').replace(/^[\s\S]*?n,,/, '');
      const nonce = cheat.nonce ?? `${bare.replace(/^n=,r=/, '')}more`;
      first = `r=${nonce},s=${salt.toString('base64')},i=${cheat.iterations ?? 4096}`;
      return authentication(11, first);
    },
    (received: Buffer) => {
      const withoutProof = received.toString('latin1', 5).replace(/,p=.*$/, '');
      const salted = pbkdf2Sync(knows, salt, 4096, 32, 'sha256');
      const serverKey = createHmac('sha256', salted).update('Server Key').digest();
      const signature = createHmac('sha256', serverKey)
        .update(`${bare},${first},${withoutProof}`)
        .digest('base64');
      return Buffer.concat([authentication(12, `v=${signature}`), session]);
    },
    one,
  ];
}

const session = Buffer.concat([
  authentication(0),
  parameter('server_version', '16.2 (\u001b[31mpooled)'),
  parameter('in_hot_standby', 'on'),
  parameter('default_transaction_read_only', 'on'),
  message('K', 'pidkey12'),
  ready,
]);

test('without a password nothing is sent after the question for one, and the goodbye is FIN', async () => {
  await using server = await peer(scripted(['N', sasl]));
  expect(await asked(server.port)).toMatchObject({
    outcome: 'answered',
    facts: { auth: 'scram-sha-256' },
  });
  expect(await server.endings()).toEqual(['fin']);
  expect(server.received()).toEqual(
    Buffer.concat([
      encodeSslRequest(),
      encodeStartup({ user: 'rollcall', database: 'postgres', application_name: 'rollcall' }),
    ]),
  );
});

test('with a password the whole session is asked, notices are stepped over, and the goodbye is Terminate', async () => {
  const notice = message('N', 'SNOTICE\0C00000\0Mhello\0\0');
  await using server = await peer(
    scripted(['N', Buffer.concat([notice, sasl]), ...scramServer(password)]),
  );
  expect(await asked(server.port, { password })).toMatchObject({
    outcome: 'answered',
    facts: {
      auth: 'scram-sha-256',
      serverVersion: '16.2 ( [31mpooled)',
      role: 'standby',
      readOnly: true,
    },
  });
  await server.endings();
  expect(server.received().subarray(-5)).toEqual(Buffer.from('5800000004', 'hex'));
});

test.each([
  ['does not know the password', scramServer('another'), 'knows the password itself'],
  [
    'asks for endless calculation',
    scramServer(password, { iterations: 2_000_000_000 }),
    '2000000000 iterations',
  ],
  [
    'answers with a nonce of its own',
    scramServer(password, { nonce: 'mine' }),
    'does not continue ours',
  ],
  ['skips a step', [authentication(12, 'v=AAAA')], 'out of turn'],
  ['lets in without proof', [session], 'out of turn'],
  ['goes round in circles', [sasl, sasl, sasl], 'out of turn'],
])('a server that %s is not believed', async (_name, script, words) => {
  await using server = await peer(scripted(['N', sasl, ...script]));
  const observation = await asked(server.port, { password });
  expect(observation).toMatchObject({
    outcome: 'failed',
    trouble: { reason: 'malformed', detail: expect.stringContaining(words) },
  });
  expect(JSON.stringify(observation)).not.toContain(password);
});

test.each([
  ['GSS', authentication(7), 'gss'],
  ['SSPI', authentication(9), 'sspi'],
  ['Kerberos', authentication(2), 'kerberos'],
  ['another mechanism', authentication(10, 'OAUTHBEARER\0\0'), 'OAUTHBEARER'],
])(
  'a sign-in by %s is a valid reply, and trouble of the probe where it has a password',
  async (_name, hello, auth) => {
    await using server = await peer(scripted(['N', hello]));
    expect(await asked(server.port)).toMatchObject({ outcome: 'answered', facts: { auth } });
    await using again = await peer(scripted(['N', hello]));
    expect(await asked(again.port, { password })).toMatchObject({
      outcome: 'limited',
      trouble: { reason: 'sign-in-refused', detail: expect.stringContaining(auth) },
    });
  },
);

test('the answer to MD5 is made as the documentation says', async () => {
  // "AuthenticationMD5Password": concat('md5', md5(concat(md5(concat(password, username)), random-salt)))
  const inner = createHash('md5').update('pencilprobe').digest('hex');
  const salt = Buffer.from('9620d5e4', 'hex');
  const outer = createHash('md5')
    .update(Buffer.concat([Buffer.from(inner), salt]))
    .digest('hex');
  expect(md5Answer('probe', 'pencil', salt)).toBe(`md5${outer}`);
});

test('a password in the clear is not given to somebody uncertain', async () => {
  await using server = await peer(scripted(['N', authentication(3)]));
  const observation = await asked(server.port, { password });
  expect(observation.trouble).toMatchObject({ reason: 'sign-in-refused' });
  await server.endings();
  expect(server.received().includes(password)).toBe(false);
});

test('a server without TLS has no place where TLS is required', async () => {
  await using server = await peer(scripted(['N', sasl]));
  expect(await asked(server.port, { tls: 'required' })).toMatchObject({
    outcome: 'failed',
    trouble: {
      layer: 'tls',
      reason: 'handshake-failed',
      detail: expect.stringContaining('does not offer TLS'),
    },
  });
});

test.each([
  ['full', errorResponse('53300', 'sorry'), 'too-many-connections'],
  [
    'without a process to spare',
    'Ecould not fork new process for connection: no memory\n\0',
    'server-error',
  ],
])(
  'a server that is %s may say so already to the request for TLS',
  async (_name, answer, reason) => {
    await using server = await peer(scripted([answer]));
    expect(await asked(server.port)).toMatchObject({ outcome: 'failed', trouble: { reason } });
  },
);

test.each([
  [
    'another value',
    Buffer.concat([message('D', Buffer.from('00010000000132', 'hex')), ready]),
    'malformed',
  ],
  ['no row', ready, 'malformed'],
  [
    'an error',
    errorResponse('57014', 'canceling statement due to statement timeout'),
    'server-error',
  ],
  ['a sign-in', sasl, 'malformed'],
])('%s in answer to SELECT 1 is trouble', async (_name, answer, reason) => {
  await using server = await peer(scripted(['N', session, answer]));
  expect(await asked(server.port)).toMatchObject({
    outcome: 'failed',
    trouble: { reason },
    facts: { auth: 'trust', serverVersion: '16.2 ( [31mpooled)' },
  });
});

test('the shorthand takes user, password and database; the settings fill in the rest', () => {
  const plain = postgres.schema.parse(
    postgres.fromUrl(new URL('postgres://db.fernhill.home.arpa')),
  );
  expect(plain).toEqual({
    kind: 'postgres',
    host: 'db.fernhill.home.arpa',
    port: 5432,
    user: 'rollcall',
    database: 'postgres',
    tls: 'offered',
  });
  const url = new URL('postgresql://probe:a%40b%2F@[::1]:5433/orders');
  const full = postgres.schema.parse(postgres.fromUrl(url));
  expect(full).toMatchObject({
    host: '::1',
    port: 5433,
    user: 'probe',
    password: 'a@b/',
    database: 'orders',
  });
  expect(postgres.where(full)).toBe('[::1]:5433');
});

test.each([
  ['a query', 'postgres://a/b?sslmode=require', 'expected no query'],
  ['a broken escape', 'postgres://u:%zz@a/b', 'percent-encoded'],
  ['no host', 'postgres:///b', 'expected a host'],
])('the shorthand refuses %s and repeats no secret', (_name, url, words) => {
  expect(() => postgres.fromUrl(new URL(url))).toThrow(words);
  expect(() => postgres.fromUrl(new URL(url))).not.toThrow('%zz');
});

test.each([
  ['certificate with `tls: never`', { tls: 'never', certificate: { trust: 'any' } }],
  ['an unknown way of TLS', { tls: 'prefer' }],
  ['an empty password', { password: '' }],
  ['a user with NUL', { user: 'a\0b' }],
  ['an unknown key', { passwort: 'x' }],
])('the settings refuse %s', (_name, given) => {
  const parsed = postgres.schema.safeParse({ kind: 'postgres', host: 'a', ...given });
  expect(parsed.success).toBe(false);
});
