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
cpSync('src/record/sqlite/migrations', 'dist/src/record/sqlite/migrations', { recursive: true });
cpSync('package.json', 'dist/package.json');
await build({
  entryPoints: { client: 'web/client/main.ts', style: 'web/style.css' },
  outdir: 'dist/web',
  bundle: true,
  minify: true,
  target: 'es2022',
  logLevel: 'warning',
});
if (existsSync('dist/src/cli/main.js')) chmodSync('dist/src/cli/main.js', 0o755);
