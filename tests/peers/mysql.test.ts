/** The `mysql` probe against a real MariaDB 10.11, in good states and bad ones. */
import { connect, type Socket } from 'node:net';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { keepInMemory } from '../../src/probe/keep-in-memory.ts';
import { ask } from '../../src/probe/registry.ts';
import { mysql } from '../../src/probe/settings/mysql.ts';
import { selfSigned } from '../support/certificates.ts';
import { type Forwarder, forwarder } from '../support/forwarder.ts';
import { context } from '../support/peer.ts';
import { needs } from '../support/peers.ts';
import { type Mariadb, makeMariadb, mariadbProgram, mayHideResolver } from './support/mariadb.ts';

const suite = needs('mariadb-server', mariadbProgram);
const counting = mayHideResolver() ? suite : needs('unshare with the right to mount', '');
const pair = selfSigned('DNS:localhost,IP:127.0.0.1');
const password = 'pencil of the probe';
const account = { user: 'probe', password };

const asked = (server: { port: number }, more: object = {}, timeoutMs = 5_000) =>
  ask(
    mysql.schema.parse({ kind: 'mysql', host: '127.0.0.1', port: server.port, ...more }),
    context({ timeoutMs }),
  );

/** Holds one connection at the greeting; null: it was not greeted. */
async function hold(server: Mariadb): Promise<Socket> {
  const socket = connect(server.port, '127.0.0.1');
  socket.on('error', () => {});
  await new Promise((resolve) => socket.once('data', resolve));
  return socket;
}

/** Resolves when the server has let go of all clients but the one that asks. */
async function idle(server: Mariadb): Promise<void> {
  const others = 'SELECT COUNT(*) FROM information_schema.processlist WHERE id <> CONNECTION_ID()';
  while ((await server.sql(others)) !== '0');
}

const accounts = `
  CREATE USER probe@'127.0.0.%' IDENTIFIED BY '${password}';
  CREATE USER by_tls@'127.0.0.1' IDENTIFIED BY '${password}' REQUIRE SSL;
  CREATE USER by_key@'127.0.0.2' IDENTIFIED VIA ed25519 USING PASSWORD('${password}');
  CREATE USER by_dialog@'127.0.0.2' IDENTIFIED VIA pam;
  CREATE USER locked@'127.0.0.1' IDENTIFIED BY '${password}' ACCOUNT LOCK;
  CREATE USER expired@'127.0.0.1' IDENTIFIED BY '${password}' PASSWORD EXPIRE;
  CREATE USER few@'127.0.0.1' IDENTIFIED BY '${password}' WITH MAX_QUERIES_PER_HOUR 1;
`;

suite('MariaDB 10.11', () => {
  let server: Mariadb;

  beforeAll(async () => {
    server = await makeMariadb({ tls: pair });
    await server.start();
    await server.sql(accounts.replaceAll(/.*by_(?:key|dialog).*/g, ''));
  });
  afterAll(() => server[Symbol.asyncDispose]());

  test('without an account it refuses somebody made up, and from then on the greeting is enough', async () => {
    const settings = mysql.schema.parse({ kind: 'mysql', host: '127.0.0.1', port: server.port });
    const keep = keepInMemory();
    for (const finish of ['made-up-user', 'greeting', 'greeting']) {
      expect(await ask(settings, context({ keep }))).toMatchObject({
        outcome: 'answered',
        facts: {
          serverVersion: expect.stringMatching(/^10\.11\.\d+-MariaDB/),
          flavour: 'MariaDB',
          offersTls: true,
          auth: 'mysql_native_password',
          finish,
        },
      });
    }
  });

  test('an account signs in and is answered, within TLS where that is offered', async () => {
    expect(await asked(server, account)).toMatchObject({
      outcome: 'answered',
      facts: { finish: 'account', tlsVersion: 'TLSv1.3', certificateDaysLeft: expect.any(Number) },
    });
    expect(await asked(server, { ...account, tls: 'never' })).toMatchObject({
      outcome: 'answered',
      facts: { finish: 'account' },
    });
    expect(await asked(server, { ...account, user: 'by_tls' })).toMatchObject({
      outcome: 'answered',
    });
  });

  test.each([
    ['a wrong password', { ...account, password: 'wrong' }, '[1045]'],
    ['an account that does not exist', { ...account, user: 'nobody_here' }, '[1045]'],
    [
      'an account for TLS only, asked without',
      { ...account, user: 'by_tls', tls: 'never' },
      '[1045]',
    ],
    ['a database that it may not see', { ...account, database: 'none' }, '[1044]'],
    ['a locked account', { ...account, user: 'locked' }, '[4151]'],
    ['an expired password', { ...account, user: 'expired' }, '[1820]'],
  ])('%s is trouble of the probe, not of the service', async (_name, given, code) => {
    expect(await asked(server, given)).toMatchObject({
      outcome: 'limited',
      trouble: { reason: 'sign-in-refused', detail: expect.stringContaining(code) },
    });
  });

  test('the limit of an account is its own', async () => {
    const given = { ...account, user: 'few' };
    expect(await asked(server, given)).toMatchObject({ outcome: 'answered' });
    expect(await asked(server, given)).toMatchObject({
      outcome: 'limited',
      trouble: { reason: 'sign-in-refused', detail: expect.stringContaining('[1226]') },
    });
  });

  test('the certificate is judged where TLS is required, and by its own authority where one is named', async () => {
    for (const given of [{}, account]) {
      expect(await asked(server, { ...given, tls: 'required' })).toMatchObject({
        outcome: 'failed',
        trouble: { layer: 'tls', reason: 'untrusted' },
        facts: { certificateDaysLeft: expect.any(Number) },
      });
      const certificate = { trust: pair.cert };
      expect(await asked(server, { ...given, certificate })).toMatchObject({
        outcome: 'answered',
        facts: { tlsVersion: 'TLSv1.3' },
      });
    }
  });

  test('used-up connections are seen without an account, the last one only with it', async () => {
    await server.sql('SET GLOBAL max_connections = 10');
    await idle(server);
    const held = await Promise.all(Array.from({ length: 10 }, () => hold(server)));
    expect(await asked(server)).toMatchObject({ outcome: 'answered' });
    await server.sql('SELECT 1');
    expect(await asked(server, account)).toMatchObject({
      outcome: 'failed',
      trouble: { reason: 'too-many-connections' },
    });
    held.push(await hold(server));
    for (const given of [{}, account]) {
      expect(await asked(server, given)).toMatchObject({
        outcome: 'failed',
        trouble: { layer: 'answer', reason: 'too-many-connections' },
      });
    }
    for (const socket of held) socket.destroy();
    while ((await asked(server)).outcome !== 'answered');
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

  test('a stopped server is refused, and answers when it is back', async () => {
    await server.stop();
    expect(await asked(server)).toMatchObject({
      outcome: 'failed',
      trouble: { reason: 'refused' },
    });
    await server.start();
    expect(await asked(server)).toMatchObject({ outcome: 'answered' });
  });
});

counting('MariaDB 10.11 that counts what an address does', () => {
  let server: Mariadb;
  let stranger: Forwarder;
  let unknown: Forwarder;

  beforeAll(async () => {
    server = await makeMariadb({
      tls: pair,
      resolvesNames: true,
      options: [
        '--performance-schema=ON',
        '--max-connect-errors=3',
        '--plugin-load-add=auth_ed25519',
        '--plugin-load-add=auth_pam',
      ],
    });
    await server.start();
    await server.sql(accounts.replaceAll('127.0.0.%', '127.0.0.2'));
    stranger = await forwarder(server.port, '127.0.0.2');
    unknown = await forwarder(server.port, '127.0.0.3');
  });
  afterAll(async () => {
    await stranger[Symbol.asyncDispose]();
    await unknown[Symbol.asyncDispose]();
    await server[Symbol.asyncDispose]();
  });

  /** What the server holds against 127.0.0.2, and what it counts in all. */
  async function counters() {
    const held = await server.sql(
      `SELECT IFNULL(SUM(sum_connect_errors), 0), IFNULL(SUM(count_host_blocked_errors), 0)
       FROM performance_schema.host_cache WHERE ip = '127.0.0.2'`,
    );
    const status = async (name: string) =>
      Number((await server.sql(`SHOW GLOBAL STATUS LIKE '${name}'`)).split('\t')[1]);
    const [errors, blocked] = held.split('\t').map(Number);
    return {
      errors,
      blocked,
      abortedConnects: await status('Aborted_connects'),
      abortedClients: await status('Aborted_clients'),
      accessDenied: await status('Access_denied_errors'),
    };
  }

  /** Asks so often, and gives what that has changed; log lines without their time and thread. */
  async function changedBy(times: number, given: object) {
    const before = await counters();
    const fromChar = server.log().length;
    const reasons = new Set<string>();
    for (let turn = 0; turn < times; turn++) {
      const observation = await asked(stranger, given);
      reasons.add(observation.trouble?.reason ?? observation.outcome);
    }
    await stranger.idle();
    await idle(server);
    const after = await counters();
    // That it has no name for an address it says once.
    const lines = server
      .log()
      .slice(fromChar)
      .split('\n')
      .filter((line) => line !== '' && !line.includes('could not be resolved'));
    return {
      reasons: [...reasons],
      errors: after.errors,
      blocked: after.blocked,
      abortedConnects: after.abortedConnects - before.abortedConnects,
      abortedClients: after.abortedClients - before.abortedClients,
      accessDenied: after.accessDenied - before.accessDenied,
      logLines: lines.length,
      log: [
        ...new Set(
          lines.map((line) => line.replace(/^.*?\[/, '[').replace(/connection \d+/, 'connection')),
        ),
      ],
    };
  }

  const nothing = {
    errors: 0,
    blocked: 0,
    abortedConnects: 0,
    abortedClients: 0,
    accessDenied: 0,
    logLines: 0,
  };
  const refused = (times: number) => ({
    ...nothing,
    abortedConnects: times,
    accessDenied: times,
    logLines: times,
  });

  test('100 probes without an account leave no error against the address; each is one refused sign-in', async () => {
    expect(await changedBy(100, {})).toEqual({
      reasons: ['answered'],
      ...refused(100),
      log: ["[Warning] Access denied for user 'rollcall-nobody'@'127.0.0.2' (using password: NO)"],
    });
  });

  test('100 probes with an account change nothing at all', async () => {
    for (const tls of ['never', 'offered']) {
      const changed = await changedBy(50, { ...account, tls });
      expect(changed).toEqual({ reasons: ['answered'], ...nothing, log: [] });
    }
  });

  test.each([
    ['a wrong password', { ...account, password: 'wrong' }],
    ['a sign-in that the probe does not speak', { ...account, user: 'by_key' }],
    ['a database that it may not see', { ...account, database: 'none' }],
    ['a certificate that is not accepted', { tls: 'required' }],
    [
      'a certificate that is not accepted, before its password is given',
      { ...account, tls: 'required', database: 'none' },
    ],
  ])('%s is not held against the address either', async (_name, given) => {
    expect(await changedBy(5, given)).toMatchObject(refused(5));
  });

  test('nor is a sign-in by dialog', async () => {
    // PAM itself pauses after a wrong password.
    expect(await changedBy(1, { ...account, user: 'by_dialog' })).toMatchObject(refused(1));
  });

  test('nor is asking a server that hangs: it finds whole sign-ins when it comes to itself', async () => {
    const before = await counters();
    server.hang();
    for (let turn = 0; turn < 5; turn++) {
      expect((await asked(stranger, {}, 200)).trouble?.reason).toBe('no-reply');
    }
    server.cont();
    while ((await counters()).accessDenied < before.accessDenied + 5);
    expect(await counters()).toMatchObject({ errors: 0, blocked: 0 });
  });

  test('leaving at the greeting is held against it, which is why only an owner may choose that', async () => {
    expect(await changedBy(2, { finish: 'greeting' })).toMatchObject({
      errors: 2,
      abortedConnects: 2,
      logLines: 2,
      log: [expect.stringMatching(/^\[Warning\] Aborted connection .*without authentication/)],
    });
    // A sign-in lifts it.
    expect(await changedBy(1, account)).toMatchObject({ errors: 0 });
    expect(await changedBy(4, { finish: 'greeting' })).toMatchObject({
      reasons: ['answered', 'address-blocked'],
      errors: 3,
      blocked: 1,
    });
  });

  test('who is blocked is told so and how to lift it; an account does not help', async () => {
    await changedBy(3, { finish: 'greeting' });
    for (const given of [{}, account]) {
      expect(await asked(stranger, given)).toMatchObject({
        outcome: 'limited',
        trouble: { reason: 'address-blocked', hint: expect.stringContaining('flush-hosts') },
        facts: { refusal: expect.stringContaining('[1129]') },
      });
    }
    await server.sql('FLUSH HOSTS');
    expect(await asked(stranger)).toMatchObject({ outcome: 'answered' });
  });

  test('an address that no account allows is told apart', async () => {
    expect(await asked(unknown)).toMatchObject({
      outcome: 'limited',
      trouble: { reason: 'address-refused', detail: expect.stringContaining('[1130]') },
    });
  });
});
