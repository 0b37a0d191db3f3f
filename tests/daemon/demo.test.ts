/** The demo as it is run: one process that shows every state of the board, tells what changed, and leaves nothing behind. */
import { type ChildProcess, spawn } from 'node:child_process';
import { existsSync, mkdtempSync, readdirSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterEach, beforeEach, expect, test, vi } from 'vitest';

const main = fileURLToPath(new URL('../../dist/src/demo/main.js', import.meta.url));
const threeMinutesMs = 180_000;

interface Listed {
  readonly id: string;
  readonly state: string;
  readonly suspect: boolean;
  readonly cause: string | null;
}

let folder: string;
let demo: ChildProcess;
let ended: Promise<{ readonly code: number | null; readonly signal: string | null }>;
let stdout: string;
let stderr: string;

beforeEach(() => {
  if (!existsSync(main)) throw new Error(`${main} is not there: npm run build comes first`);
  folder = mkdtempSync(join(tmpdir(), 'rollcall-demo-test-'));
  // Its temporary folder is made in this one, so that what it leaves behind can be seen.
  demo = spawn(process.execPath, [main], {
    env: { ...process.env, TMPDIR: folder },
    stdio: ['ignore', 'pipe', 'pipe'],
  });
  stdout = '';
  stderr = '';
  demo.stdout?.on('data', (chunk: Buffer) => {
    stdout += chunk.toString();
  });
  demo.stderr?.on('data', (chunk: Buffer) => {
    stderr += chunk.toString();
  });
  ended = new Promise((resolve) => demo.once('close', (code, signal) => resolve({ code, signal })));
});
afterEach(async () => {
  demo.kill('SIGKILL');
  await ended;
  rmSync(folder, { recursive: true, force: true });
});

async function boardUrl(): Promise<string> {
  return vi.waitFor(
    () => {
      const url = /The board: (\S+)/.exec(stderr)?.[1];
      if (url === undefined) throw new Error(`no board so far: ${stderr}`);
      return url;
    },
    { timeout: 30_000, interval: 50 },
  );
}

test('every state of the board shows within three minutes, what changed is told, and SIGINT ends it', async () => {
  const url = await boardUrl();
  expect(readdirSync(folder)).toHaveLength(1);

  const seen = new Set<string>();
  const all = ['up', 'degraded', 'down', 'unobserved', 'suspect', 'behind its cause'];
  await vi.waitFor(
    async () => {
      const answer = await fetch(new URL('api/v1/services', url));
      const { services } = (await answer.json()) as { readonly services: readonly Listed[] };
      for (const { state, suspect, cause } of services) {
        seen.add(state);
        if (suspect) seen.add('suspect');
        if (state === 'down' && cause !== null) seen.add('behind its cause');
      }
      expect([...seen]).toEqual(expect.arrayContaining(all));
      expect(stdout).toMatch(/^down .*Order book is down: .*\(signature verified\)$/m);
      expect(stdout).toMatch(/^up .*Order book is up again.*\(signature verified\)$/m);
    },
    { timeout: threeMinutesMs, interval: 150 },
  );

  demo.kill('SIGINT');
  expect(await ended).toEqual({ code: 0, signal: null });
  expect(readdirSync(folder)).toEqual([]);
  expect(stderr).not.toContain('this did not work');
}, 240_000);

test('the strips show an invented day, and the names of the studio', async () => {
  const url = await boardUrl();
  const from = new Date(Date.now() - 20 * 3_600_000).toISOString();
  const to = new Date(Date.now() - 19 * 3_600_000).toISOString();
  const path = `api/v1/services/order-book/observations?from=${from}&to=${to}`;
  const { points } = (await (await fetch(new URL(path, url))).json()) as { points: unknown[] };
  expect(points).toHaveLength(60);
  const page = await (await fetch(new URL('services/order-book', url))).text();
  expect(page).toContain('db.fernhill.home.arpa');

  demo.kill('SIGTERM');
  expect(await ended).toEqual({ code: 0, signal: null });
  expect(readdirSync(folder)).toEqual([]);
});
