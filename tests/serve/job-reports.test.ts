/** Reports over the network: who may, what is taken, what is refused, and how often. */
import { randomBytes } from 'node:crypto';
import { request } from 'node:http';
import type { AddressInfo } from 'node:net';
import { afterAll, describe, expect, test } from 'vitest';
import {
  reportBytesMax,
  tailBytesMax,
  wrongReportsAllCountMax,
  wrongReportsEachCountMax,
  wrongReportsWindowMs,
} from '../../src/base/limits.ts';
import type { Log } from '../../src/base/log.ts';
import { silentLog } from '../../src/base/log.ts';
import { readToken } from './guarded.ts';
import { backupToken, type JobsScene, jobsScene } from './jobs-scene.ts';
import { now, type SceneOptions } from './scene.ts';

const scenes: JobsScene[] = [];
afterAll(() => Promise.all(scenes.map(({ scene }) => scene.app.close())));
async function board(options?: SceneOptions): Promise<JobsScene> {
  const made = await jobsScene(options);
  scenes.push(made);
  return made;
}

interface Sent {
  readonly token?: string | null;
  readonly payload?: string | Buffer;
  readonly headers?: Record<string, string>;
  readonly remoteAddress?: string;
}

function post({ scene }: JobsScene, url: string, sent: Sent = {}) {
  const { token = backupToken, payload, headers, remoteAddress = '192.0.2.7' } = sent;
  return scene.app.inject({
    method: 'POST',
    url,
    remoteAddress,
    headers: {
      host: 'localhost:7655',
      ...(token !== null && { authorization: `Bearer ${token}` }),
      ...headers,
    },
    ...(payload !== undefined && { payload }),
  });
}

const runsOf = ({ scene }: JobsScene) =>
  scene.record.runs('nightly-backup', { from: 0, to: Number.MAX_SAFE_INTEGER }, 1_000);

describe('a report', () => {
  test('needs the token of its job alone, also on a board with a passphrase', async () => {
    const made = await board();
    const began = await post(made, '/jobs/nightly-backup/began');
    expect(began.statusCode).toBe(200);
    expect(began.json()).toMatchObject({
      job: 'nightly-backup',
      beganAt: '2026-11-25T09:42:10.000Z',
      endedAt: null,
      exit: null,
      tookMs: null,
    });
    await made.scene.clock.advance(61_000);
    const ended = await post(made, '/jobs/nightly-backup/ended?exit=3&value=9.8e9&unit=B', {
      payload: 'copying\n\u001b[31mno space left\u0007\n',
      headers: { 'content-type': 'application/x-www-form-urlencoded' },
    });
    expect(ended.json()).toEqual({
      id: began.json().id,
      job: 'nightly-backup',
      beganAt: '2026-11-25T09:42:10.000Z',
      endedAt: '2026-11-25T09:43:11.000Z',
      exit: 3,
      tookMs: 61_000,
      sizeBytes: 28,
      value: 9.8e9,
      unit: 'B',
      output: 'copying\nno space left',
    });
    expect(made.looked).toEqual(['nightly-backup', 'nightly-backup']);
  });

  test('of a run alone, without a body, is a whole run', async () => {
    const made = await board();
    const ended = await post(made, '/jobs/nightly-backup/ended?exit=0');
    expect(ended.json()).toMatchObject({ beganAt: null, exit: 0, sizeBytes: 0, output: null });
  });

  test('goes by the id that it gives', async () => {
    const made = await board();
    await post(made, '/jobs/nightly-backup/began?run=one');
    await post(made, '/jobs/nightly-backup/began?run=two');
    const ended = await post(made, '/jobs/nightly-backup/ended?exit=0&run=one');
    expect(ended.json()).toMatchObject({ id: 'one', tookMs: 0 });
    expect((await runsOf(made)).map(({ id, exit }) => [id, exit])).toEqual([
      ['two', null],
      ['one', 0],
    ]);
  });

  test('may bring an output of any length and kind: its end is kept', async () => {
    const made = await board();
    const lines = Array.from({ length: 40_000 }, (_, index) => `line ${index}`).join('\n');
    const { sizeBytes, output } = (
      await post(made, '/jobs/nightly-backup/ended?exit=0', { payload: lines })
    ).json();
    expect(sizeBytes).toBe(lines.length);
    expect(output.length).toBeLessThanOrEqual(tailBytesMax);
    expect(output.endsWith('line 39998\nline 39999')).toBe(true);
    const binary = await post(made, '/jobs/nightly-backup/ended?exit=0', {
      payload: randomBytes(100_000),
      headers: { 'content-type': 'image/png' },
    });
    expect(binary.statusCode).toBe(200);
    expect(Buffer.byteLength(binary.json().output ?? '')).toBeLessThanOrEqual(tailBytesMax);
    // biome-ignore lint/suspicious/noControlCharactersInRegex: that there are none is what is tested
    expect(binary.json().output ?? '').not.toMatch(/[\u0000-\u0008\u000b-\u001f\u007f-\u009f]/);
  });

  test.each([
    ['ended', /exit: expected the exit status, such as exit=0/],
    ['ended?exit=', /exit: expected the exit status/],
    ['ended?exit=zero', /exit: expected the exit status/],
    ['ended?exit=0&exit=1', /exit/],
    ['ended?exit=0&value=many', /value: expected a number/],
    ['ended?exit=0&value=1e999', /value: expected a number/],
    ['ended?exit=0&unit=%0a', /unit: expected at most/],
    ['ended?exit=0&at=0', /at: no such parameter/],
    ['began?run=a%20b', /run: expected at most 64/],
    [`began?run=${'a'.repeat(65)}`, /run: expected at most 64/],
  ])('%s is refused as it stands', async (report, detail) => {
    const made = await board();
    const answer = await post(made, `/jobs/nightly-backup/${report}`);
    expect(answer.statusCode).toBe(400);
    expect(answer.headers['content-type']).toMatch(/^application\/problem\+json/);
    expect(answer.json().detail).toMatch(detail);
    expect(await runsOf(made)).toEqual([]);
  });

  test('is asked for by a name of the board, and posted', async () => {
    const made = await board();
    const elsewhere = { host: 'evil.example' };
    expect(
      (await post(made, '/jobs/nightly-backup/began', { headers: elsewhere })).statusCode,
    ).toBe(421);
    const read = await made.scene.app.inject({
      url: '/jobs/nightly-backup/began',
      headers: { host: 'localhost', authorization: `Bearer ${readToken}` },
    });
    expect(read.statusCode).toBe(404);
  });
});

describe('who may not', () => {
  test.each([
    ['none', null],
    ['a wrong one', 'b4ckup-0123456789abcdef-b4ckuq'],
    ['that of another job', 'imp0rt-0123456789abcdef-imp0rt'],
    ['one that reads the board', readToken],
  ])('a token: %s', async (_, token) => {
    const made = await board();
    const answer = await post(made, '/jobs/nightly-backup/ended?exit=0', { token });
    expect(answer.statusCode).toBe(401);
    expect(answer.headers['www-authenticate']).toBe('Bearer realm="Rollcall"');
    expect(await runsOf(made)).toEqual([]);
  });

  test('a job that is not there looks the same, parameters or not', async () => {
    const made = await board();
    const wrong = (
      await post(made, '/jobs/nightly-backup/ended', { token: 'x'.repeat(30) })
    ).json();
    const absent = (await post(made, '/jobs/nobody/ended', { token: 'x'.repeat(30) })).json();
    expect({ ...absent, instance: '' }).toEqual({ ...wrong, instance: '' });
  });

  test('wrong ones are limited by address, right ones are not', async () => {
    const made = await board();
    const wrong = (remoteAddress: string) =>
      post(made, '/jobs/nightly-backup/began', { token: 'x'.repeat(30), remoteAddress });
    for (let count = 0; count < wrongReportsEachCountMax; count++) {
      expect((await wrong('192.0.2.7')).statusCode).toBe(401);
    }
    const refused = await wrong('192.0.2.7');
    expect(refused.statusCode).toBe(429);
    expect(Number(refused.headers['retry-after'])).toBeLessThanOrEqual(
      wrongReportsWindowMs / 1_000,
    );
    expect((await wrong('192.0.2.8')).statusCode).toBe(401);
    for (let count = 0; count < 3 * wrongReportsEachCountMax; count++) {
      expect((await post(made, `/jobs/nightly-backup/began?run=${count}`)).statusCode).toBe(200);
    }
    await made.scene.clock.advance(wrongReportsWindowMs);
    expect((await wrong('192.0.2.7')).statusCode).toBe(401);
  });

  test('a flood from everywhere is bounded, in the log too, and shuts nobody out who has the token', async () => {
    const lines: string[] = [];
    const log: Log = {
      ...silentLog,
      warn: (fields, text) => void lines.push(JSON.stringify([fields, text])),
    };
    const made = await board({ log });
    let refusedCount = 0;
    for (let count = 0; count < 3 * wrongReportsAllCountMax; count++) {
      const { statusCode } = await post(made, '/jobs/nightly-backup/began', {
        token: `guess-${count}-0123456789abcdef`,
        remoteAddress: `198.51.${count % 100}.${count % 250}`,
      });
      if (statusCode === 429) refusedCount++;
    }
    expect(refusedCount).toBe(2 * wrongReportsAllCountMax);
    expect(lines).toHaveLength(wrongReportsAllCountMax);
    expect(lines.join()).not.toContain('guess');
    expect((await post(made, '/jobs/nightly-backup/began')).statusCode).toBe(200);
  });

  test('tokens are not logged', async () => {
    const lines: string[] = [];
    const keep = (fields: object, text: string) => void lines.push(JSON.stringify([fields, text]));
    const made = await board({ log: { debug: keep, info: keep, warn: keep, error: keep } });
    await post(made, '/jobs/nightly-backup/began');
    await post(made, '/jobs/nightly-backup/ended?exit=nothing');
    await post(made, '/jobs/nightly-backup/began', { token: `${backupToken}-not` });
    expect(lines.join()).toContain('began');
    expect(lines.join()).not.toContain(backupToken);
  });
});

describe('over a real connection', () => {
  interface Told {
    readonly status: number;
    readonly body: string;
  }
  async function listening(): Promise<{ readonly made: JobsScene; readonly port: number }> {
    const made = await board();
    await made.scene.app.listen({ host: '127.0.0.1', port: 0 });
    return { made, port: (made.scene.app.server.address() as AddressInfo).port };
  }
  function send(
    port: number,
    path: string,
    chunks: Iterable<Buffer>,
    token = backupToken,
  ): Promise<Told> {
    return new Promise((resolve, reject) => {
      const headers = { authorization: `Bearer ${token}`, 'content-type': 'text/plain' };
      const asking = request(
        { host: '127.0.0.1', port, path, method: 'POST', headers },
        (answer) => {
          const parts: Buffer[] = [];
          answer.on('data', (part: Buffer) => parts.push(part));
          answer.on('end', () => {
            resolve({ status: answer.statusCode ?? 0, body: Buffer.concat(parts).toString() });
          });
        },
      );
      // The board does not read on when it has refused.
      asking.on('error', reject);
      for (const chunk of chunks) asking.write(chunk);
      asking.end();
    });
  }
  const mebibytes = function* (count: number) {
    for (let left = count; left > 0; left--) yield Buffer.alloc(1_048_576, 'x');
  };

  test('a long output comes in whole, and is let go as it comes', async () => {
    const { made, port } = await listening();
    const { status, body } = await send(port, '/jobs/nightly-backup/ended?exit=0', mebibytes(15));
    expect(status).toBe(200);
    expect(JSON.parse(body)).toMatchObject({ sizeBytes: 15 * 1_048_576 });
    expect(Buffer.byteLength((await runsOf(made))[0]?.tail ?? '')).toBe(tailBytesMax);
  });

  test('one that is too long is refused, and nothing of it kept', async () => {
    const { made, port } = await listening();
    const count = reportBytesMax / 1_048_576 + 1;
    const told = await send(port, '/jobs/nightly-backup/ended?exit=0', mebibytes(count)).catch(
      // Refused while it was still sending: the connection may be cut before the answer is read.
      (thrown: NodeJS.ErrnoException) => ({
        status: thrown.code === 'EPIPE' || thrown.code === 'ECONNRESET' ? 413 : 0,
        body: '',
      }),
    );
    expect(told.status).toBe(413);
    expect(await runsOf(made)).toEqual([]);
  });

  test('a thousand reports from fifty clients at one time are a thousand runs', async () => {
    const { made, port } = await listening();
    const client = async (name: number) => {
      for (let count = 0; count < 20; count++) {
        const path = `/jobs/nightly-backup/ended?exit=${count % 2}&run=${name}-${count}`;
        expect((await send(port, path, [Buffer.from(`run ${name}-${count}`)])).status).toBe(200);
      }
    };
    await Promise.all(Array.from({ length: 50 }, (_, name) => client(name)));
    const runs = await runsOf(made);
    expect(new Set(runs.map(({ id }) => id)).size).toBe(1_000);
    expect(runs.filter(({ exit }) => exit === 0)).toHaveLength(500);
    expect(made.scene.options.clock.wallMs()).toBe(now);
  });
});
