/**
 * No SQL Server can be had here: the `tds` probe is tested against a stand-in of ours (tests/support/tds-server.ts). That
 * the stand-in is one is shown by two clients that are not ours: both take its answer, go on to the sign-in (LOGIN7) and
 * tell the refusal that it sends.
 */
import { execFile } from 'node:child_process';
import { promisify } from 'node:util';
import { Connection } from 'tedious';
import { expect, test } from 'vitest';
import { ask } from '../../src/probe/registry.ts';
import { tds } from '../../src/probe/settings/tds.ts';
import { context, peer } from '../support/peer.ts';
import { needs } from '../support/peers.ts';
import { tdsServer } from '../support/tds-server.ts';

const tsqlProgram = '/usr/bin/tsql';
const refusal = "Login failed for user 'rollcall'.";

/** The stand-in, and the types of the packets that it gets. */
async function standIn() {
  const types: number[] = [];
  const server = await peer(tdsServer(undefined, (type) => types.push(type)));
  return { server, types };
}

needs('freetds-bin', tsqlProgram)('FreeTDS', () => {
  test('takes the stand-in for a SQL Server', async () => {
    const { server, types } = await standIn();
    await using _ = server;
    const asked = promisify(execFile)(
      tsqlProgram,
      ['-H', '127.0.0.1', '-p', `${server.port}`, '-U', 'rollcall', '-P', 'wrong'],
      { env: { PATH: '/usr/bin:/bin', LC_ALL: 'C', TDSVER: '7.4' } },
    );
    await expect(asked).rejects.toMatchObject({
      stderr: expect.stringContaining(refusal),
    });
    expect(types).toEqual([0x12, 0x10]);
  });
});

test('tedious takes the stand-in for a SQL Server', async () => {
  const { server, types } = await standIn();
  await using _ = server;
  const connection = new Connection({
    server: '127.0.0.1',
    options: { port: server.port, encrypt: false, connectTimeout: 5_000 },
    authentication: { type: 'default', options: { userName: 'rollcall', password: 'wrong' } },
  });
  const failed = new Promise((resolve) => connection.once('connect', resolve));
  connection.connect();
  expect(await failed).toMatchObject({ code: 'ELOGIN', message: expect.stringContaining(refusal) });
  connection.close();
  expect(types).toEqual([0x12, 0x10]);
});

test('the probe takes it for one as well, and stops before the sign-in', async () => {
  const { server, types } = await standIn();
  await using _ = server;
  const settings = tds.schema.parse({ kind: 'tds', host: '127.0.0.1', port: server.port });
  expect(await ask(settings, context())).toMatchObject({
    outcome: 'answered',
    facts: { serverVersion: '16.0.1000' },
  });
  expect(await server.endings()).toEqual(['fin']);
  expect(types).toEqual([0x12]);
});
