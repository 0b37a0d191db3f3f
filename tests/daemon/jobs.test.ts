/** Jobs through the real process: reports by command and over the network, and what becomes of them when no daemon is there. */
import { spawn } from 'node:child_process';
import { once } from 'node:events';
import { existsSync, readdirSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterEach, beforeEach, expect, test, vi } from 'vitest';
import { type Place, place, type Running } from './support/daemon.ts';
import { type Receiver, receiver, webhookSecret } from './support/receiver.ts';

interface JobJson {
  readonly id: string;
  readonly state: string;
  readonly reason: string | null;
  readonly detail: string | null;
  readonly last: { readonly exit: number; readonly output: string | null } | null;
}
interface RunJson {
  readonly id: string;
  readonly beganAt: string | null;
  readonly endedAt: string | null;
  readonly exit: number | null;
  readonly output: string | null;
}

const within = { timeout: 20_000, interval: 50 };
const token = 'b4ckup-0123456789abcdef-b4ckup';

let home: Place;
let told: Receiver;
let running: Running | null;
beforeEach(async () => {
  home = await place();
  told = await receiver();
  running = null;
  home.configure(`
services: [{ name: Board, probe: "tcp://127.0.0.1:${home.port}" }]
jobs:
  - name: Nightly backup
    schedule: "15 2 * * *"
    token: ${token}
tell: [{ name: phone, webhook: "${told.url}", secret: "${webhookSecret}" }]`);
});
afterEach(async () => {
  await running?.stop();
  await told.close();
  home.remove();
});

const job = async () => {
  const { jobs } = await (running as Running).json<{ jobs: JobJson[] }>('/api/v1/jobs');
  return jobs[0];
};
const runs = async () =>
  (await (running as Running).json<{ runs: RunJson[] }>('/api/v1/jobs/nightly-backup/runs')).runs;
const run = (script: string) =>
  home.run('job', 'run', '--data', home.data, 'nightly-backup', '--', 'sh', '-c', script);
const types = () => told.delivered().map(({ type }) => type);

test('a run that fails is told with the end of its output, and a good one after it', async () => {
  running = await home.start();
  expect(await run('echo copying; echo no space left >&2; exit 3')).toMatchObject({
    ...{ code: 3, stdout: 'copying\n', stderr: 'no space left\n' },
  });
  expect(await job()).toMatchObject({ state: 'failed', reason: 'run-failed', last: { exit: 3 } });
  await vi.waitFor(() => expect(types()).toEqual(['rollcall.job.failed']), within);
  const [event] = told.delivered();
  expect(event).toMatchObject({
    subject: 'nightly-backup',
    data: {
      summary: expect.stringMatching(
        /^Nightly backup failed: exit status 3 after .*: no space left\.$/,
      ),
    },
  });
  expect(await run('exit 0')).toMatchObject({ code: 0 });
  await vi.waitFor(
    () => expect(types()).toEqual(['rollcall.job.failed', 'rollcall.job.recovered']),
    within,
  );
  expect(await job()).toMatchObject({ state: 'done' });
});

test('one line of curl is enough, with the right token', async () => {
  running = await home.start();
  const report = (path: string, secret: string, body = '') =>
    fetch(new URL(`/jobs/nightly-backup/${path}`, (running as Running).url), {
      method: 'POST',
      headers: { authorization: `Bearer ${secret}` },
      body,
    });
  expect((await report('ended?exit=0', `${token}x`)).status).toBe(401);
  const answer = await report('ended?exit=0', token, 'copied 12 files');
  expect(answer.status).toBe(200);
  expect(await answer.json()).toMatchObject({ exit: 0, output: 'copied 12 files' });
  expect(await job()).toMatchObject({ state: 'done' });
  expect(running.stdout()).not.toContain(token);
});

test('what ran while no daemon did is there after its start', async () => {
  running = await home.start();
  await run('exit 0');
  await running.stop();
  running = null;
  expect(await run('echo alone; exit 4')).toMatchObject({ code: 4, stdout: 'alone\n', stderr: '' });
  running = await home.start();
  expect((await runs()).map(({ exit }) => exit)).toEqual([4, 0]);
  expect(await job()).toMatchObject({ state: 'failed', last: { output: 'alone' } });
  expect(readdirSync(join(home.data, 'spool'))).toEqual([]);
});

test('a daemon that is killed amid a run hears of its end all the same, and once', async () => {
  running = await home.start();
  const command = spawn(
    process.execPath,
    [
      fileURLToPath(new URL('../../dist/src/cli/main.js', import.meta.url)),
      ...[
        'job',
        'run',
        '--data',
        home.data,
        'nightly-backup',
        '--',
        'sh',
        '-c',
        'read go; echo through',
      ],
    ],
    { stdio: ['pipe', 'pipe', 'inherit'] },
  );
  await vi.waitFor(async () => expect(await runs()).toMatchObject([{ endedAt: null }]), within);
  running.signal('SIGKILL');
  await running.ended;
  command.stdin.end('go\n');
  const [code] = await once(command, 'close');
  expect(code).toBe(0);
  expect(existsSync(join(home.data, 'spool'))).toBe(true);
  running = await home.start();
  expect(await runs()).toMatchObject([{ exit: 0, output: 'through' }]);
  expect(await job()).toMatchObject({ state: 'done' });
});
