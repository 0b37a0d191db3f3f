/** The program's own files are where they are looked for. */
import { existsSync, readFileSync } from 'node:fs';
import { expect, test } from 'vitest';
import { isSource, programFolder, recordFile } from '../../src/base/files.ts';

// The build's places: tests/daemon runs what was built.
test('in the sources, what is loaded by its path is where it is looked for', () => {
  expect(isSource).toBe(true);
  const text = readFileSync(new URL('package.json', programFolder), 'utf8');
  expect(JSON.parse(text).name).toBe('rollcall');
  expect(existsSync(recordFile('worker.ts'))).toBe(true);
  expect(existsSync(recordFile('migrations/'))).toBe(true);
});
