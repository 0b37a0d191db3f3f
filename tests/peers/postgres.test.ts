/** The `postgres` probe against a real PostgreSQL 15, in good states and bad ones. */
import { connect, type Socket } from 'node:net';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { encodeStartup } from '../../src/probe/postgres-messages.ts';
import { ask } from '../../src/probe/registry.ts';
import { postgres } from '../../src/probe/settings/postgres.ts';
import { selfSigned } from '../support/certificates.ts';
import { context } from '../support/peer.ts';
import { needs } from '../support/peers.ts';
import { makePostgres, type Postgres, postgresProgram } from './support/postgres.ts';

const suite = needs('postgresql', postgresProgram);
const pair = selfSigned('DNS:localhost,IP:127.0.0.1');
const password = 'pencil of the probe';

const asked = (server: Postgres, more: object = {}, timeoutMs = 5_000) =>
  ask(
    postgres.schema.parse({ kind: 'postgres', host: '127.0.0.1', port: server.port, ...more }),
    context({ timeoutMs }),
  );

/** Holds one connection: at the question for a password, or in a session where none is asked. */
async function hold(server: Postgres, user: string): Promise<Socket> {
  const socket = connect(server.port, '127.0.0.1');
  socket.on('error', () => {});
  socket.write(encodeStartup({ user, database: 'postgres' }));
  await new Promise((resolve) => socket.once('data', resolve));
  return socket;
}

/** Resolves when the server has no client left, held ones that were let go included. */
async function idle(server: Postgres): Promise<void> {
  const others =
    "SELECT count(*) FROM pg_stat_activity WHERE backend_type = 'client backend' AND pid <> pg_backend_pid()";
  while ((await server.sql(others).catch(() => 'full')) !== '0');
}

suite('PostgreSQL 15', () => {
  let server: Postgres;

  beforeAll(async () => {
    server = await makePostgres({
      tls: pair,
      conf: ["log_line_prefix = ''"],
      hba: [
        'host all rejected 127.0.0.1/32 reject',
        'hostssl all only_tls 127.0.0.1/32 scram-sha-256',
        'host all only_tls 127.0.0.1/32 reject',
        'host all by_md5 127.0.0.1/32 md5',
        'host all in_clear 127.0.0.1/32 password',
        'host all trusted,nobody_here 127.0.0.1/32 trust',
        'host postgres all 127.0.0.1/32 scram-sha-256',
      ],
    });
    await server.start();
    await server.sql(`
      CREATE ROLE probe LOGIN CONNECTION LIMIT 2 PASSWORD '${password}';
      CREATE ROLE only_tls LOGIN PASSWORD '${password}';
      CREATE ROLE in_clear LOGIN PASSWORD '${password}';
      CREATE ROLE trusted LOGIN;
      SET password_encryption = 'md5';
      CREATE ROLE by_md5 LOGIN PASSWORD '${password}';
    `);
  });
  afterAll(() => server[Symbol.asyncDispose]());

  test('without a password it is answered up to the question for one', async () => {
    const observation = await asked(server);
    expect(observation).toMatchObject({
      outcome: 'answered',
      trouble: null,
      facts: {
        auth: 'scram-sha-256',
        tlsVersion: 'TLSv1.3',
        certificateDaysLeft: expect.any(Number),
      },
    });
    expect(Object.keys(observation.phases)).toEqual(
      expect.arrayContaining(['connectUs', 'secureUs', 'speakUs']),
    );
  });

  test('a password gives version and role', async () => {
    for (const tls of ['never', 'offered']) {
      expect(await asked(server, { user: 'probe', password, tls })).toMatchObject({
        outcome: 'answered',
        facts: {
          auth: 'scram-sha-256',
          serverVersion: expect.stringMatching(/^15\./),
          role: 'primary',
        },
      });
    }
  });

  test('a wrong password is trouble of the probe, not of the service', async () => {
    expect(await asked(server, { user: 'probe', password: 'wrong' })).toMatchObject({
      outcome: 'limited',
      trouble: { reason: 'sign-in-refused', detail: expect.stringContaining('[28P01]') },
    });
  });

  test('MD5 and a password in the clear are spoken, the latter only where it is safe', async () => {
    const facts = { serverVersion: expect.stringMatching(/^15\./) };
    expect(await asked(server, { user: 'by_md5', password })).toMatchObject({
      outcome: 'answered',
      facts: { ...facts, auth: 'md5' },
    });
    expect(await asked(server, { user: 'in_clear', password })).toMatchObject({
      outcome: 'limited',
      trouble: { reason: 'sign-in-refused', detail: expect.stringContaining('in the clear') },
    });
    for (const safe of [{ tls: 'never' }, { tls: 'required', certificate: { trust: pair.cert } }]) {
      expect(await asked(server, { user: 'in_clear', password, ...safe })).toMatchObject({
        outcome: 'answered',
        facts: { ...facts, auth: 'password' },
      });
    }
  });

  test('a server that lets the probe in without a password is asked to the end', async () => {
    expect(await asked(server, { user: 'trusted' })).toMatchObject({
      outcome: 'answered',
      facts: { auth: 'trust', serverVersion: expect.stringMatching(/^15\./), role: 'primary' },
    });
  });

  test.each([
    ['an account that does not exist', { user: 'nobody_here' }, '[28000]'],
    ['a database that does not exist', { user: 'trusted', database: 'none' }, '[3D000]'],
  ])(
    '%s is a valid reply, and with a password trouble of the probe',
    async (_name, given, code) => {
      expect(await asked(server, given)).toMatchObject({
        outcome: 'answered',
        facts: { refusal: expect.stringContaining(code) },
      });
      expect(await asked(server, { ...given, password })).toMatchObject({
        outcome: 'limited',
        trouble: { reason: 'sign-in-refused', detail: expect.stringContaining(code) },
      });
    },
  );

  test.each([
    ['an entry that rejects', { user: 'rejected' }],
    ['no entry', { database: 'template1' }],
    ['an entry for TLS only, asked without', { user: 'only_tls', tls: 'never' }],
  ])('%s in pg_hba.conf refuses the address', async (_name, given) => {
    expect(await asked(server, given)).toMatchObject({
      outcome: 'limited',
      trouble: { reason: 'address-refused', hint: expect.stringContaining('pg_hba.conf') },
    });
  });

  test('the certificate is judged where TLS is required, and by its own authority where one is named', async () => {
    expect(await asked(server, { tls: 'required' })).toMatchObject({
      outcome: 'failed',
      trouble: { layer: 'tls', reason: 'untrusted' },
      facts: { certificateDaysLeft: expect.any(Number) },
    });
    const certificate = { trust: pair.cert };
    expect(await asked(server, { certificate })).toMatchObject({ outcome: 'answered' });
    expect(
      await asked(server, { certificate: { pin: `sha256/${'A'.repeat(43)}=` } }),
    ).toMatchObject({ outcome: 'failed', trouble: { reason: 'pin-differs' } });
  });

  test.each([
    ['without a password', {}],
    ['without a password and without TLS', { tls: 'never' }],
    ['with a password', { user: 'probe', password }],
    ['with a certificate that is not accepted', { tls: 'required' }],
  ])('100 probes %s leave no line in the log', async (name, given) => {
    await idle(server);
    const before = server.log().length;
    for (let i = 0; i < 100; i++) await asked(server, given);
    await idle(server);
    const mark = `after 100 probes ${name}`;
    await server.sql(`DO $$ BEGIN RAISE LOG '${mark}'; END $$`);
    await server.logged(new RegExp(`${mark}\n`), before);
    expect(server.log().slice(before)).toMatch(new RegExp(`^LOG:  ${mark}\n`));
  });

  test('used-up connections are seen without a password, reserved ones only with one', async () => {
    await idle(server);
    const held = await Promise.all(Array.from({ length: 3 }, () => hold(server, 'trusted')));
    expect(await asked(server)).toMatchObject({ outcome: 'answered' });
    expect(await asked(server, { user: 'probe', password })).toMatchObject({
      outcome: 'failed',
      trouble: { reason: 'too-many-connections' },
    });
    held.push(await hold(server, 'postgres'), await hold(server, 'postgres'));
    expect(await asked(server)).toMatchObject({
      outcome: 'failed',
      trouble: { layer: 'answer', reason: 'too-many-connections' },
    });
    for (const socket of held) socket.destroy();
    await idle(server);
    expect(await asked(server)).toMatchObject({ outcome: 'answered' });
  });

  test('a hung server accepts and does not answer; when it goes on it answers', async () => {
    server.hang();
    try {
      expect(await asked(server, {}, 500)).toMatchObject({
        outcome: 'failed',
        trouble: { layer: 'protocol', reason: 'no-reply' },
      });
    } finally {
      server.cont();
    }
    expect(await asked(server)).toMatchObject({ outcome: 'answered' });
  });

  test('a server that waits for its last client is shutting down; then nothing listens', async () => {
    const last = await hold(server, 'trusted');
    const before = server.log().length;
    server.signal('SIGTERM');
    await server.logged(/received smart shutdown request/, before);
    expect(await asked(server)).toMatchObject({
      outcome: 'failed',
      trouble: { layer: 'answer', reason: 'shutting-down' },
    });
    last.destroy();
    await server.stop();
    expect(await asked(server)).toMatchObject({
      outcome: 'failed',
      trouble: { reason: 'refused' },
    });
    await server.start();
    expect(await asked(server)).toMatchObject({ outcome: 'answered' });
  });
});

suite('PostgreSQL 15 in recovery', () => {
  test('a server that recovers is starting up', async () => {
    await using server = await makePostgres();
    server.configure(["restore_command = 'sleep 2; false'"]);
    server.touch('recovery.signal');
    await server.start(/starting archive recovery/);
    expect(await asked(server)).toMatchObject({
      outcome: 'failed',
      trouble: { layer: 'answer', reason: 'starting-up', detail: expect.stringContaining('57P03') },
    });
  });

  test('a standby that takes readers is answered, and its role is a fact', async () => {
    await using server = await makePostgres({
      hba: ['host all all 127.0.0.1/32 trust'],
      // A standby may not have less than initdb wrote down for the primary.
      conf: ['max_connections = 100', 'max_wal_senders = 10'],
    });
    server.configure(["restore_command = 'false'"]);
    server.touch('standby.signal');
    await server.start();
    expect(await asked(server, { user: 'postgres' })).toMatchObject({
      outcome: 'answered',
      facts: { role: 'standby' },
    });
    await server.stop();
    server.configure(['hot_standby = off']);
    await server.start(/entering standby mode/);
    expect(await asked(server)).toMatchObject({
      outcome: 'failed',
      trouble: { reason: 'starting-up' },
    });
  });
});
