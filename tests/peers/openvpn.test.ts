/** The `openvpn` probe against real servers in network namespaces of their own, in each way of covering the first packets. */
import { expect, test, vi } from 'vitest';
import { askOpenvpn } from '../../src/probe/openvpn.ts';
import type { ProbeContext } from '../../src/probe/probe.ts';
import { openvpn } from '../../src/probe/settings/openvpn.ts';
import { context } from '../support/peer.ts';
import { needs } from '../support/peers.ts';
import { namespaceHindrance } from './support/namespace.ts';
import { type OpenvpnServer, openvpnProgram, startOpenvpn } from './support/openvpn.ts';

const suite = needs('openvpn', openvpnProgram, namespaceHindrance);

const ask = (
  { address, port }: Pick<OpenvpnServer, 'address' | 'port'>,
  more: object = {},
  given: Partial<ProbeContext> = {},
) =>
  askOpenvpn(
    openvpn.schema.parse({ kind: 'openvpn', host: address, port, ...more }),
    context(given),
  );

/** Long enough for an answer on this machine, short enough for silence. */
const brief = { timeoutMs: 500 };
const silent = { outcome: 'unproven', trouble: { layer: 'port', reason: 'silent' } };
const refusesKey = { outcome: 'limited', trouble: { layer: 'answer', reason: 'sign-in-refused' } };
const answered = (mode: string) => ({ outcome: 'answered', trouble: null, facts: { mode } });
/** Both clocks are the same one; each is cut to whole seconds. */
const clockOf = (observation: Awaited<ReturnType<typeof ask>>) =>
  Math.abs(Number(observation.facts['clockAheadS']));

suite('openvpn', () => {
  test('a server without a key is answered, and silent to whoever has one of tls-crypt-v2', async () => {
    await using server = await startOpenvpn();
    const observation = await ask(server);
    expect(observation).toMatchObject(answered('none'));
    expect(observation.facts).not.toHaveProperty('clockAheadS');
    // It answers a packet that is covered in another way as if it were not covered at all.
    const { staticKey: key, clientKey } = server;
    expect(await ask(server, { tlsAuth: { key } }, brief)).toMatchObject(refusesKey);
    expect(await ask(server, { tlsCrypt: { key } }, brief)).toMatchObject(refusesKey);
    expect(await ask(server, { tlsCryptV2: { key: clientKey } }, brief)).toMatchObject(silent);
    await server.stop();
    expect(await ask(server)).toMatchObject({
      outcome: 'failed',
      trouble: { layer: 'port', reason: 'refused' },
    });
  });

  test('tls-auth wants the right key, direction and digest, and gives its clock', async () => {
    const options = ['--tls-auth', 'static.key', '0', '--auth', 'SHA256'];
    await using server = await startOpenvpn({ options });
    const tlsAuth = { key: server.staticKey, auth: 'SHA256' };
    const observation = await ask(server, { tlsAuth });
    expect(observation).toMatchObject(answered('tls-auth'));
    expect(clockOf(observation)).toBeLessThanOrEqual(1);
    const ahead = { ...context().clock, wallMs: () => Date.now() + 3_600_000 };
    const fast = await ask(server, { tlsAuth }, { clock: ahead });
    expect(fast.facts['clockAheadS']).toBeLessThanOrEqual(-3_599);

    await using other = await startOpenvpn();
    const wrong: readonly object[] = [
      {},
      { tlsAuth: { ...tlsAuth, key: other.staticKey } },
      { tlsAuth: { ...tlsAuth, direction: 0 } },
      { tlsAuth: { ...tlsAuth, direction: 'none' } },
      { tlsAuth: { ...tlsAuth, auth: 'SHA1' } },
      { tlsCrypt: { key: server.staticKey } },
    ];
    for (const more of wrong) expect(await ask(server, more, brief)).toMatchObject(silent);
  });

  test('tls-auth without a direction answers who has 0, with the other half of the key', async () => {
    await using server = await startOpenvpn({ options: ['--tls-auth', 'static.key'] });
    const asked = (direction: 0 | 1 | 'none') =>
      ask(server, { tlsAuth: { key: server.staticKey, direction } }, brief);
    expect(await asked('none')).toMatchObject(answered('tls-auth'));
    expect(await asked(1)).toMatchObject(silent);
    expect(await asked(0)).toMatchObject({
      ...refusesKey,
      trouble: { detail: expect.stringContaining('`direction` differs') },
    });
  });

  test.each(['SHA1', 'SHA512'])('tls-auth with %s is spoken', async (auth) => {
    const options = ['--tls-auth', 'static.key', '0', '--auth', auth];
    await using server = await startOpenvpn({ options });
    const tlsAuth = { key: server.staticKey, auth };
    expect(await ask(server, { tlsAuth })).toMatchObject(answered('tls-auth'));
  });

  test('tls-crypt wants the right key', async () => {
    await using server = await startOpenvpn({ options: ['--tls-crypt', 'static.key'] });
    const observation = await ask(server, { tlsCrypt: { key: server.staticKey } });
    expect(observation).toMatchObject(answered('tls-crypt'));
    expect(clockOf(observation)).toBeLessThanOrEqual(1);
    await using other = await startOpenvpn();
    const before = server.log().length;
    for (const more of [{}, { tlsCrypt: { key: other.staticKey } }]) {
      expect(await ask(server, more, brief)).toMatchObject(silent);
    }
    // Unlike a good opening, a bad one leaves two lines at `verb 4`.
    const lines = server.log().slice(before);
    expect(lines).toHaveLength(4);
    expect(lines.filter((line) => line.includes('tls-crypt unwrapping failed'))).toHaveLength(2);
  });

  test('tls-crypt-v2 wants a client key that the server has sealed, and keeps nothing', async () => {
    await using server = await startOpenvpn({ options: ['--tls-crypt-v2', 'v2-server.key'] });
    const before = server.log().length;
    const observation = await ask(server, { tlsCryptV2: { key: server.clientKey } });
    expect(observation).toMatchObject(answered('tls-crypt-v2'));
    expect(clockOf(observation)).toBeLessThanOrEqual(1);
    // So detailed a log (`verb 4`) tells that it read the client's key, and nothing of a session.
    const lines = server.log().slice(before);
    expect(lines[0]).toBe('Control Channel: using tls-crypt-v2 key');
    expect(lines.slice(1).every((line) => line.includes('Control Channel Encryption'))).toBe(true);
    await using other = await startOpenvpn();
    for (const more of [{}, { tlsCryptV2: { key: other.clientKey } }]) {
      expect(await ask(server, more, brief)).toMatchObject(silent);
    }
  });

  test('over TCP it answers, and closes at a key that it does not have', async () => {
    await using server = await startOpenvpn({
      proto: 'tcp',
      options: ['--tls-crypt', 'static.key'],
    });
    const tcp = { proto: 'tcp' };
    const before = server.log().length;
    const key = server.staticKey;
    expect(await ask(server, { ...tcp, tlsCrypt: { key } })).toMatchObject(answered('tls-crypt'));
    // A client instance comes and goes for each connection.
    const closing = 'TCP/UDP: Closing socket';
    await vi.waitFor(() => expect(server.log().slice(before)).toContain(closing));
    const lines = server.log().slice(before).join('\n');
    expect(lines).toContain('MULTI: multi_create_instance called');
    expect(lines).toMatch(/Connection reset, restarting \[0\]\n.*client-instance restarting/);

    await using other = await startOpenvpn();
    const wrong = await ask(server, { ...tcp, tlsCrypt: { key: other.staticKey } });
    expect(wrong).toMatchObject(refusesKey);
    expect(await ask(server, tcp)).toMatchObject({
      outcome: 'failed',
      trouble: {
        layer: 'protocol',
        reason: 'closed-early',
        hint: expect.stringContaining('tls-crypt'),
      },
    });
    await server.stop();
    expect((await ask(server, tcp)).trouble?.reason).toBe('refused');
  });

  test('a hundred probes leave no line in the log; the next one within ten seconds meets silence', async () => {
    await using server = await startOpenvpn({ options: ['--tls-crypt', 'static.key'] });
    const more = { tlsCrypt: { key: server.staticKey } };
    const before = server.log().length;
    for (let count = 0; count < 100; count++) {
      expect((await ask(server, more)).outcome).toBe('answered');
    }
    expect(server.log().slice(before)).toEqual([]);
    // The manual, `--connect-freq-initial`: 100 in ten seconds unless it is set.
    expect(await ask(server, more, brief)).toMatchObject(silent);
    expect(server.log().slice(before)).toEqual([
      expect.stringContaining('--connect-freq-initial 100 10 rate limit exceeded'),
    ]);
  });
});
