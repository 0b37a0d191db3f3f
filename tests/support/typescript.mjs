/**
 * Lets a child process run the sources as they are: `node --import tests/support/typescript.mjs some.ts`.
 * Node 20 reads no TypeScript itself; the types are taken out on the way, nothing is written.
 */
import { readFileSync } from 'node:fs';
import { register } from 'node:module';
import { fileURLToPath } from 'node:url';
import { isMainThread } from 'node:worker_threads';
import { transform } from 'esbuild';

if (isMainThread) register(import.meta.url);

export async function load(url, context, nextLoad) {
  if (!/\.tsx?$/.test(url)) return nextLoad(url, context);
  const path = fileURLToPath(url);
  const { code } = await transform(readFileSync(path, 'utf8'), {
    loader: path.endsWith('x') ? 'tsx' : 'ts',
    format: 'esm',
    target: 'node20',
    jsx: 'automatic',
    jsxImportSource: 'preact',
    sourcefile: path,
    sourcemap: 'inline',
  });
  return { format: 'module', source: code, shortCircuit: true };
}
