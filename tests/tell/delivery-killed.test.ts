/** Killed without warning in every phase of a delivery: the message comes at least once, and under one id. */
import { spawn } from 'node:child_process';
import { once } from 'node:events';
import { fileURLToPath } from 'node:url';
import { expect, test } from 'vitest';
import { temporaryFolder } from '../record/support/sqlite.ts';
import { receiver } from '../support/receiver.ts';

const script = fileURLToPath(new URL('./support/deliver-until-killed.ts', import.meta.url));
const loader = new URL('../support/typescript.mjs', import.meta.url).href;

/** Gives how it ended: `SIGKILL`, or its exit code. */
async function deliver(folder: string, webhook: string, phase: string): Promise<string> {
  const args = ['--import', loader, script, folder, webhook, phase];
  const child = spawn(process.execPath, args, { stdio: ['ignore', 'ignore', 'inherit'] });
  const [code, signal] = await once(child, 'close');
  return String(signal ?? code);
}

test.each([
  ['before it is claimed', 0, 1],
  ['after it was claimed', 0, 1],
  // It came, and nobody knows: it comes again, and the receiver knows it by its id.
  ['after it was sent', 1, 2],
  ['after that was put down', 1, 1],
])(
  '%s',
  async (phase, before, inAll) => {
    await using home = await receiver((response) => response.writeHead(204).end());
    const { folder, end } = temporaryFolder();
    try {
      expect(await deliver(folder, `${home.url}/in`, phase)).toBe('SIGKILL');
      expect(home.received).toHaveLength(before);
      expect(await deliver(folder, `${home.url}/in`, '')).toBe('0');
      expect(home.received).toHaveLength(inAll);
      expect(new Set(home.received.map(({ headers }) => headers['webhook-id'])).size).toBe(1);
      expect(new Set(home.received.map(({ body }) => body)).size).toBe(1);
    } finally {
      end();
    }
  },
  60_000,
);
