// Makes dist/: the program with its libraries in few files, what is not TypeScript, and the page's style and script.
// In few and small files because V8 keeps the text of all that it has loaded: as hundreds of files it would take a fifth
// more memory, and twice as long to start. Names are kept whole, so that a stack trace can be read.
import { chmodSync, cpSync, readdirSync, readFileSync, rmSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { build } from 'esbuild';

process.chdir(fileURLToPath(new URL('..', import.meta.url)));
rmSync('dist', { recursive: true, force: true });

await build({
  // Every file of it lies two folders below dist/: `src/base/files.ts` counts on that.
  outdir: 'dist/src',
  entryPoints: {
    'cli/main': 'src/cli/main.ts',
    'demo/main': 'src/demo/main.ts',
    'record/worker': 'src/record/sqlite/worker.ts',
  },
  chunkNames: 'part/[name]-[hash]',
  bundle: true,
  // What a command loads when it is called stays apart.
  splitting: true,
  format: 'esm',
  platform: 'node',
  target: 'node20',
  // It has a part that is compiled for this machine.
  external: ['better-sqlite3'],
  alias: { undici: './.ci/undici.mjs' },
  // Libraries of the older module system ask for Node's own modules while they run.
  banner: {
    js: "import{createRequire as requireFrom}from'node:module';const require=requireFrom(import.meta.url);",
  },
  minifyWhitespace: true,
  minifySyntax: true,
  legalComments: 'external',
  logLevel: 'warning',
});
await build({
  entryPoints: { client: 'web/client/main.ts', style: 'web/style.css' },
  outdir: 'dist/web',
  bundle: true,
  minify: true,
  target: 'es2022',
  logLevel: 'warning',
});
cpSync('src/record/sqlite/migrations', 'dist/src/record/migrations', { recursive: true });
cpSync('package.json', 'dist/package.json');
chmodSync('dist/src/cli/main.js', 0o755);

// A single character beyond ASCII and V8 keeps the whole file in two bytes a character. esbuild escapes all but those of
// regular expressions: write `\u2026` there.
for (const name of readdirSync('dist/src', { recursive: true })) {
  if (name.endsWith('.js') && /[^\0-\x7f]/.test(readFileSync(`dist/src/${name}`, 'utf8'))) {
    throw new Error(`dist/src/${name} has characters beyond ASCII`);
  }
}
