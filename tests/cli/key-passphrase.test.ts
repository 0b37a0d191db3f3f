/** `rollcall key passphrase`, the process itself. */
import { spawnSync } from 'node:child_process';
import { expect, test } from 'vitest';
import { passphraseMatches } from '../../src/base/passphrase.ts';

function ran(input: string) {
  const typescript = new URL('../support/typescript.mjs', import.meta.url).href;
  const main = new URL('../../src/cli/main.ts', import.meta.url).pathname;
  const command = ['--import', typescript, main, 'key', 'passphrase'];
  return spawnSync(process.execPath, command, { input, encoding: 'utf8' });
}

test('the hash of the first line is printed, and nothing of the line itself', async () => {
  const { status, stdout, stderr } = ran('slip and glaze\nanother line\n');
  expect(status).toBe(0);
  expect(stdout).toMatch(/^scrypt:\S+\n$/);
  expect(await passphraseMatches('slip and glaze', stdout.trim())).toBe(true);
  expect(stdout + stderr).not.toContain('glaze');
});

test.each([
  ['nothing', ''],
  ['too short a line', 'slip\n'],
])('%s is refused, with the status of a wrong use', (_what, input) => {
  const { status, stdout, stderr } = ran(input);
  expect([status, stdout]).toEqual([2, '']);
  expect(stderr).toContain('a passphrase has 8 to 1000 characters');
});
