/** The `mysql` probe against a scripted server: what it sends, and what it makes of each course of the exchange. */
import { createHash } from 'node:crypto';
import { type Connection, createConnection } from 'mysql2';
import { describe, expect, test } from 'vitest';
import { keepInMemory } from '../../src/probe/keep-in-memory.ts';
import {
  decodeGreeting,
  encodePacket,
  encodeQuery,
  encodeQuit,
} from '../../src/probe/mysql-messages.ts';
import { nativeProof, sha2Proof } from '../../src/probe/mysql-sign-in.ts';
import type { ProbeContext } from '../../src/probe/probe.ts';
import { ask } from '../../src/probe/registry.ts';
import { mysql } from '../../src/probe/settings/mysql.ts';
import {
  denied,
  errorPacket,
  greeting,
  greetingWith,
  okPacket,
  scripted,
  select,
  switchTo,
} from '../support/mysql-server.ts';
import { context, peer } from '../support/peer.ts';

const account = { user: 'probe', password: 'pencil of the probe' };
const sha2 = 'caching_sha2_password';
const native = 'mysql_native_password';

function asked(port: number, given: object = {}, more: Partial<ProbeContext> = {}) {
  const settings = mysql.schema.parse({ kind: 'mysql', host: '127.0.0.1', port, ...given });
  return ask(settings, context(more));
}

describe('without an account', () => {
  test('somebody made up is refused, which is a valid reply', async () => {
    await using server = await peer(scripted([denied()]));
    expect(await asked(server.port)).toMatchObject({
      outcome: 'answered',
      facts: {
        serverVersion: '10.11.19-MariaDB-0+deb12u1',
        flavour: 'MariaDB',
        offersTls: false,
        auth: native,
        finish: 'made-up-user',
        refusal: expect.stringContaining('[1045]'),
      },
    });
    expect(await server.endings()).toEqual(['fin']);
    expect(server.received().subarray(36)).toEqual(Buffer.from(`rollcall-nobody\0\0${native}\0`));
  });

  test.each([
    ['has shown that it sees its own machine', "'rollcall-nobody'@'127.0.0.1'", 'greeting'],
    [
      'sees somebody else, as behind a forwarded port',
      "'rollcall-nobody'@'172.17.0.1'",
      'made-up-user',
    ],
  ])('how it leaves a server that %s', async (_name, as, later) => {
    const keep = keepInMemory();
    await using server = await peer(scripted([denied(2, as)]));
    const course: unknown[] = [];
    for (let turn = 0; turn < 3; turn++) {
      course.push((await asked(server.port, {}, { keep })).facts['finish']);
    }
    expect(course).toEqual(['made-up-user', later, later]);
  });

  test('another version at the same place has to show it anew', async () => {
    let hello = greeting;
    const keep = keepInMemory();
    await using server = await peer((socket) =>
      scripted([denied(2, "'rollcall-nobody'@'localhost'")], hello)(socket),
    );
    await asked(server.port, {}, { keep });
    expect(await asked(server.port, {}, { keep })).toMatchObject({ facts: { finish: 'greeting' } });
    hello = Buffer.from(greeting.toString('latin1').replace('10.11', '11.10'), 'latin1');
    expect(await asked(server.port, {}, { keep })).toMatchObject({
      facts: { finish: 'made-up-user' },
    });
  });

  test.each(['127.0.0.2', '127.0.0.1'])(
    'a server at %s that calls us localhost',
    async (address) => {
      const keep = keepInMemory();
      await using server = await peer(
        scripted([denied(2, "'rollcall-nobody'@'localhost'")]),
        address,
      );
      const twice = [
        await asked(server.port, { host: address }, { keep }),
        await asked(server.port, { host: address }, { keep }),
      ];
      // Any other address of this machine counts like a stranger's.
      expect(twice.map(({ facts }) => facts['finish'])).toEqual([
        'made-up-user',
        address === '127.0.0.1' ? 'greeting' : 'made-up-user',
      ]);
    },
  );

  test('the owner may choose, and TLS needs more than the greeting', async () => {
    await using server = await peer(scripted([denied(2, "'rollcall-nobody'@'localhost'")]));
    expect(await asked(server.port, { finish: 'greeting' })).toMatchObject({
      outcome: 'answered',
      facts: { finish: 'greeting' },
    });
    expect(server.received()).toHaveLength(0);
    const keep = keepInMemory();
    const given = { tls: 'required' };
    for (let turn = 0; turn < 2; turn++) {
      expect(await asked(server.port, given, { keep })).toMatchObject({
        outcome: 'failed',
        trouble: { layer: 'tls', detail: expect.stringContaining('does not offer TLS') },
        facts: { finish: 'made-up-user' },
      });
    }
  });

  test('a server that lets anybody in is answered, told, and left politely', async () => {
    await using server = await peer(scripted([okPacket(2)]));
    expect(await asked(server.port)).toMatchObject({
      outcome: 'answered',
      facts: { letsAnybodyIn: true },
    });
    await server.endings();
    expect(server.received().subarray(-5)).toEqual(encodePacket(0, encodeQuit()));
  });

  test('a wish for another plugin is answered with nothing, to the end', async () => {
    await using server = await peer(
      scripted([switchTo(2, sha2, 'x'.repeat(21)), encodePacket(4, Buffer.of(1, 4)), denied(6)]),
    );
    expect(await asked(server.port)).toMatchObject({ outcome: 'answered' });
    expect(server.received().subarray(-9)).toEqual(Buffer.from('000000030100000500', 'hex'));
  });

  test('a server that does not greet in time finds a whole sign-in when it comes to itself', async () => {
    await using server = await peer(() => {});
    expect(await asked(server.port, {}, { timeoutMs: 300 })).toMatchObject({
      outcome: 'failed',
      trouble: { reason: 'no-reply' },
    });
    await server.endings();
    expect(server.received().subarray(36)).toEqual(Buffer.from(`rollcall-nobody\0\0${native}\0`));
  });
});

describe('with an account', () => {
  test('it signs in, asks, and says goodbye', async () => {
    await using server = await peer(scripted([okPacket(2), select]));
    expect(await asked(server.port, { ...account, database: 'orders' })).toMatchObject({
      outcome: 'answered',
      facts: { finish: 'account' },
    });
    await server.endings();
    const scramble = Buffer.from('5267325f686c6947664c2926252733693b295968', 'hex');
    const proof = nativeProof(account.password, scramble);
    expect(server.received().subarray(36)).toEqual(
      Buffer.concat([
        Buffer.from('probe\0'),
        Buffer.of(20),
        proof,
        Buffer.from(`orders\0${native}\0`),
        encodePacket(0, encodeQuery('SELECT 1')),
        encodePacket(0, encodeQuit()),
      ]),
    );
  });

  test('it follows to another plugin, and takes the word that the proof was enough', async () => {
    const scramble = 'abcdefghijklmnopqrst';
    await using server = await peer(
      scripted([
        switchTo(2, sha2, `${scramble}\0`),
        (received) => {
          expect(received.subarray(4)).toEqual(sha2Proof(account.password, Buffer.from(scramble)));
          return Buffer.concat([encodePacket(4, Buffer.of(1, 3)), okPacket(5)]);
        },
        select,
      ]),
    );
    expect(await asked(server.port, account)).toMatchObject({ outcome: 'answered', trouble: null });
  });

  test.each([
    ['the password itself', [encodePacket(2, Buffer.of(1, 4)), denied(4)], 'the password itself'],
    [
      'a sign-in that it does not speak',
      [switchTo(2, 'client_ed25519', 'x'.repeat(32)), denied(4)],
      'client_ed25519',
    ],
    [
      'a key to be used',
      [encodePacket(2, Buffer.from('\x01-----BEGIN PUBLIC KEY-----')), denied(4)],
      'the password itself',
    ],
  ])(
    'who is asked for %s is refused, does not break off, and gives nothing away',
    async (_name, script, words) => {
      await using server = await peer(scripted(script, greetingWith(sha2)));
      expect(await asked(server.port, account)).toMatchObject({
        outcome: 'limited',
        trouble: { reason: 'sign-in-refused', detail: expect.stringContaining(words) },
      });
      expect(await server.endings()).toEqual(['fin']);
      expect(server.received().includes('pencil')).toBe(false);
    },
  );

  test.each([
    ['1', encodePacket(1, Buffer.of(0, 0, 0, 2, 0, 0, 0)), 'malformed'],
    ['2', errorPacket(1, 1_317, 'Query execution was interrupted'), 'server-error'],
    [
      '3',
      Buffer.from(select.toString('hex').replace(/0131(?=05000005)/, '0132'), 'hex'),
      'malformed',
    ],
    ['4', errorPacket(1, 1_820, 'You must SET PASSWORD'), 'sign-in-refused'],
  ])('a bad answer to SELECT 1 is trouble (%s)', async (_name, answer, reason) => {
    await using server = await peer(scripted([okPacket(2), answer]));
    expect(await asked(server.port, account)).toMatchObject({ trouble: { reason } });
  });

  test('an account without a password proves nothing', async () => {
    await using server = await peer(scripted([okPacket(2), select], greetingWith(sha2)));
    expect(await asked(server.port, { user: 'probe' })).toMatchObject({ outcome: 'answered' });
    expect(server.received().subarray(36, 43)).toEqual(Buffer.from('probe\0\0'));
  });
});

test.each([native, sha2])(
  'the proof of %s is the one that another client gives',
  async (plugin) => {
    // mysql2 as a client, asked by the captured greeting.
    const sent = new Promise<Buffer>((resolve) => {
      void (async () => {
        await using server = await peer(
          scripted(
            [
              (received) => {
                resolve(received);
                return denied();
              },
            ],
            greetingWith(plugin),
          ),
        );
        const client: Connection = createConnection({
          host: '127.0.0.1',
          port: server.port,
          ...account,
        });
        await new Promise((ended) => client.once('error', ended));
        client.destroy();
      })();
    });
    const hello = decodeGreeting(greetingWith(plugin));
    if (hello.state !== 'value' || hello.value.kind !== 'greeting') throw new Error('no greeting');
    const proof = (plugin === sha2 ? sha2Proof : nativeProof)(
      account.password,
      hello.value.scramble,
    );
    expect((await sent).includes(Buffer.concat([Buffer.of(proof.length), proof]))).toBe(true);
  },
);

test('the proofs are made as the documentation says', () => {
  // "Native Authentication": SHA1( password ) XOR SHA1( "20-bytes random data from server" <concat> SHA1( SHA1( password ) ) )
  const sha = (name: string, ...parts: Buffer[]) =>
    createHash(name).update(Buffer.concat(parts)).digest();
  const scramble = Buffer.from('abcdefghijklmnopqrst');
  const word = Buffer.from('pencil');
  const of = (name: string, inner: Buffer) => sha(name, word).map((byte, i) => byte ^ inner[i]!);
  expect([...nativeProof('pencil', scramble)]).toEqual([
    ...of('sha1', sha('sha1', scramble, sha('sha1', sha('sha1', word)))),
  ]);
  // "Caching_sha2_password information": XOR(SHA256(password), SHA256(SHA256(SHA256(password)), Nonce))
  expect([...sha2Proof('pencil', scramble)]).toEqual([
    ...of('sha256', sha('sha256', sha('sha256', sha('sha256', word)), scramble)),
  ]);
});

describe('the settings', () => {
  test('the shorthand takes user, password and database; the settings fill in the rest', () => {
    const plain = mysql.schema.parse(mysql.fromUrl(new URL('mariadb://db.fernhill.home.arpa')));
    expect(plain).toEqual({
      kind: 'mysql',
      host: 'db.fernhill.home.arpa',
      port: 3306,
      finish: 'auto',
    });
    const full = mysql.schema.parse(
      mysql.fromUrl(new URL('mysql://probe:a%40b%2F@[::1]:3307/shop')),
    );
    expect(full).toMatchObject({
      host: '::1',
      port: 3307,
      user: 'probe',
      password: 'a@b/',
      database: 'shop',
    });
    expect(mysql.where(full)).toBe('[::1]:3307');
  });

  test.each([
    ['a query', 'mysql://a/b?ssl=1', 'expected no query'],
    ['a broken escape', 'mysql://u:%zz@a/b', 'percent-encoded'],
    ['no host', 'mysql:///b', 'expected a host'],
  ])('the shorthand refuses %s and repeats no secret', (_name, url, words) => {
    expect(() => mysql.fromUrl(new URL(url))).toThrow(words);
    expect(() => mysql.fromUrl(new URL(url))).not.toThrow('%zz');
  });

  test.each([
    ['a password without a user', { password: 'x' }],
    ['a database without a user', { database: 'x' }],
    ['a finish beside a user', { user: 'x', finish: 'greeting' }],
    ['a certificate with `tls: never`', { tls: 'never', certificate: {} }],
    ['TLS after the greeting', { finish: 'greeting', tls: 'required' }],
    ['a user with NUL', { user: 'a\0b' }],
    ['an unknown key', { passwort: 'x' }],
  ])('refuse %s', (_name, given) => {
    const parsed = mysql.schema.safeParse({ kind: 'mysql', host: 'a', ...given });
    expect(parsed.success).toBe(false);
  });
});
