// Compiles src/ and web/ into dist/, copies what is not TypeScript, bundles the page's little script.
import { spawnSync } from 'node:child_process';
import { chmodSync, cpSync, existsSync, rmSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { build } from 'esbuild';

const root = fileURLToPath(new URL('..', import.meta.url));
process.chdir(root);

rmSync('dist', { recursive: true, force: true });
const tsc = ['node_modules/typescript/bin/tsc', '-p', '.ci/tsconfig.build.json'];
if (spawnSync(process.execPath, tsc, { stdio: 'inherit' }).status !== 0) process.exit(1);
for (const folder of ['src/record/sqlite/migrations', 'web/style.css', 'web/icons']) {
  if (existsSync(folder)) cpSync(folder, `dist/${folder}`, { recursive: true });
}
cpSync('package.json', 'dist/package.json');
if (existsSync('web/client/main.ts')) {
  await build({
    entryPoints: ['web/client/main.ts'],
    outfile: 'dist/web/client.js',
    bundle: true,
    minify: true,
    target: 'es2022',
    logLevel: 'warning',
  });
}
if (existsSync('dist/src/cli/main.js')) chmodSync('dist/src/cli/main.js', 0o755);
