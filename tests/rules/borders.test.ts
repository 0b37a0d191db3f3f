/**
 * The borders between folders hold: each is tried with one planted violation, so that a silent gap in the lint
 * settings is noticed. And what the linter cannot name: leftovers, names of tests, scripts that documents mention.
 */
import { execFileSync, spawnSync } from 'node:child_process';
import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { describe, expect, test } from 'vitest';

const root = fileURLToPath(new URL('../..', import.meta.url));
/** One line of one file, and whether the linter must or must not name this rule there. */
interface Planted {
  readonly place: string;
  readonly line: string;
  readonly rule: 'noRestrictedImports' | 'noRestrictedGlobals';
}

/** Plants all lines, lints once, and gives back `place:line → rules`. */
function lint(planted: readonly Planted[]): (one: Planted) => readonly string[] {
  // Inside the repository, so that the installed linter and its settings are found; ignored by git.
  mkdirSync(join(root, '.verify'), { recursive: true });
  const copy = mkdtempSync(join(root, '.verify', 'borders-'));
  try {
    const settings: unknown = JSON.parse(readFileSync(join(root, 'biome.json'), 'utf8'));
    const alone = { ...(settings as object), vcs: { enabled: false } };
    writeFileSync(join(copy, 'biome.json'), JSON.stringify(alone));
    const files = new Map<string, string[]>();
    for (const { place, line } of planted) files.set(place, [...(files.get(place) ?? []), line]);
    for (const [place, lines] of files) {
      mkdirSync(dirname(join(copy, place)), { recursive: true });
      writeFileSync(join(copy, place), `${lines.join('\n')}\n`);
    }
    const biome = join(root, 'node_modules/.bin/biome');
    const flags = ['lint', '--reporter=json', '--max-diagnostics=none', 'src', 'web'];
    const ended = spawnSync(biome, flags, { cwd: copy, encoding: 'utf8' });
    const report = JSON.parse(ended.stdout) as {
      diagnostics: { category: string; location: { path: string; start: { line: number } } }[];
    };
    const found = new Map<string, string[]>();
    for (const { category, location } of report.diagnostics) {
      const at = `${location.path}:${location.start.line}`;
      found.set(at, [...(found.get(at) ?? []), category.split('/').at(-1) ?? '']);
    }
    return ({ place, line }) =>
      found.get(`${place}:${(files.get(place)?.indexOf(line) ?? 0) + 1}`) ?? [];
  } finally {
    rmSync(copy, { recursive: true, force: true });
  }
}

const imports = (place: string, from: string, nth: number): Planted => ({
  place,
  line: `import { x${nth} } from '${from}';`,
  rule: 'noRestrictedImports',
});

// biome-ignore format: one border a line
const forbidden: readonly [place: string, from: string][] = [
  ['src/base/a.ts', 'zod'],
  ['src/base/a.ts', '../judge/judge.ts'],
  ['src/judge/a.ts', 'node:fs'],
  ['src/judge/a.ts', '../base/log.ts'],
  ['src/judge/a.ts', '../base/clock.ts'],
  ['src/judge/a.ts', '../record/record.ts'],
  ['src/uptime/a.ts', '../judge/judge.ts'],
  ['src/uptime/a.ts', 'node:fs'],
  ['src/uptime/a.ts', 'temporal-polyfill'],
  ['src/uptime/calendar.ts', 'node:fs'],
  ['src/uptime/calendar.ts', '../base/clock.ts'],
  ['src/report/a.ts', '../serve/server.ts'],
  ['src/report/a.ts', '../record/sqlite/open.ts'],
  ['src/report/a.ts', 'node:fs'],
  ['src/probe/a.ts', '../record/record.ts'],
  ['src/probe/a.ts', '../config/schema.ts'],
  ['src/probe/settings/a.ts', '../../judge/judge.ts'],
  ['src/job/a.ts', 'node:fs'],
  ['src/job/a.ts', '../record/record.ts'],
  ['src/job/a.ts', '../schedule/timetable.ts'],
  ['src/schedule/a.ts', '../probe/probe.ts'],
  ['src/schedule/a.ts', 'node:fs'],
  ['src/config/a.ts', '../probe/tcp.ts'],
  ['src/config/a.ts', '../record/record.ts'],
  ['src/record/a.ts', 'better-sqlite3'],
  ['src/record/a.ts', '../judge/judge.ts'],
  ['src/record/sqlite/a.ts', '../../tell/draft.ts'],
  ['src/record/sqlite/sealed/a.ts', 'better-sqlite3'],
  ['src/record/sqlite/sealed/a.ts', 'node:fs'],
  ['src/record/sqlite/sealed/a.ts', '../tail.ts'],
  ['src/tell/a.ts', '../record/sqlite/open.ts'],
  ['src/tell/a.ts', '../serve/server.ts'],
  ['src/serve/a.ts', '../record/sqlite/open.ts'],
  ['src/serve/a.ts', '../judge/judge.ts'],
  ['src/serve/a.ts', '../probe/tcp.ts'],
  ['web/pages/a.tsx', '../../src/record/record.ts'],
  ['web/pages/a.tsx', '../../src/base/values.ts'],
  ['src/round.ts', './tell/draft.ts'],
  ['src/round.ts', './serve/server.ts'],
  ['src/watch.ts', './probe/registry.ts'],
  ['src/watch.ts', './serve/server.ts'],
  ['src/watch.ts', 'node:net'],
];

// biome-ignore format: one border a line
const allowed: readonly [place: string, from: string][] = [
  ['src/judge/a.ts', '../base/values.ts'],
  ['src/job/a.ts', '../schedule/occurrences.ts'],
  ['src/probe/a.ts', '../base/clock.ts'],
  ['src/record/sqlite/a.ts', 'better-sqlite3'],
  ['src/record/sqlite/a.ts', './sealed/block.ts'],
  ['src/record/sqlite/sealed/a.ts', '../../../uptime/sketch.ts'],
  ['src/uptime/calendar.ts', 'temporal-polyfill'],
  ['src/report/a.ts', '../record/history.ts'],
  ['src/serve/a.ts', '../uptime/availability.ts'],
  ['src/serve/a.ts', '../report/gather.ts'],
  ['web/pages/a.tsx', '../parts/mark.tsx'],
  ['src/round.ts', './judge/judge.ts'],
  ['src/watch.ts', './tell/draft.ts'],
];

// biome-ignore format: one place a line
const clockless = ['src/schedule/a.ts', 'src/judge/a.ts', 'src/job/a.ts', 'src/record/a.ts', 'src/record/sqlite/a.ts', 'src/record/sqlite/sealed/a.ts', 'src/tell/a.ts', 'src/uptime/a.ts', 'src/uptime/calendar.ts', 'src/report/a.ts', 'src/round.ts', 'src/watch.ts', 'src/chores.ts', 'src/self-troubles.ts'];
const readings = ['Date.now()', 'performance.now()', 'setTimeout(f, 1)', 'setInterval(f, 1)'];

const bad = forbidden.map(([place, from], nth) => imports(place, from, nth));
const good = allowed.map(([place, from], nth) => imports(place, from, nth + 100));
const readers = clockless.flatMap((place) =>
  readings.map(
    (reading): Planted => ({
      place,
      line: `export const y${readings.indexOf(reading)} = ${reading};`,
      rule: 'noRestrictedGlobals',
    }),
  ),
);
const rulesAt = lint([...bad, ...good, ...readers]);

describe('borders between folders', () => {
  test.each(bad)('$place is refused: $line', (one) => expect(rulesAt(one)).toContain(one.rule));
  test.each(good)('$place is let through: $line', (one) =>
    expect(rulesAt(one)).not.toContain(one.rule),
  );
});

test.each(readers)('the clock is a value: $place is refused $line', (one) =>
  expect(rulesAt(one)).toContain(one.rule),
);

describe('the tree', () => {
  const files = execFileSync('git', ['ls-files', '-co', '--exclude-standard'], {
    cwd: root,
    encoding: 'utf8',
  })
    .split('\n')
    .filter((file) => /\.(ts|tsx|mjs|css|sql|md|yaml)$/.test(file));
  const textOf = (file: string) => readFileSync(join(root, file), 'utf8');

  test('has no leftover markers', () => {
    // Spelled apart, so that this file does not find itself.
    const marker = new RegExp(['TO', 'DO|FIX', 'ME|X', 'XX\\b'].join(''));
    expect(files.filter((file) => marker.test(textOf(file)))).toEqual([]);
  });

  test('says in the first lines of every source file what it is for', () => {
    const sources = files.filter((file) => /^(src|web|tests)\/.*\.tsx?$/.test(file));
    expect(sources.filter((file) => !/^(#!.*\n)?(\/\*\*|\/\/)/.test(textOf(file)))).toEqual([]);
  });

  test('converts instants with the calendar, and never asks it for the time', () => {
    const sources = files.filter((file) => file.startsWith('src/'));
    expect(sources.filter((file) => /\bTemporal\.Now\b/.test(textOf(file)))).toEqual([]);
  });

  test('names only scripts that exist in its documents', () => {
    const read: unknown = JSON.parse(textOf('package.json'));
    const scripts = Object.keys((read as { scripts: object }).scripts);
    for (const file of files.filter((name) => name.endsWith('.md'))) {
      for (const [, script = ''] of textOf(file).matchAll(/npm run ([a-z:]+)/g)) {
        expect(scripts, `${file} mentions npm run ${script}`).toContain(script);
      }
    }
  });

  test('keeps its top level small', () => {
    const top = new Set(
      execFileSync('git', ['ls-files'], { cwd: root, encoding: 'utf8' })
        .split('\n')
        .filter(Boolean)
        .map((file) => file.split('/')[0] ?? ''),
    );
    const visible = [...top].filter((name) => !name.startsWith('.')).sort();
    // biome-ignore format: the list of the design
    const topLevel = ['DEVELOPERS.md', 'Dockerfile', 'LICENSE', 'README.md', 'biome.json', 'config.example.yaml', 'package-lock.json', 'package.json', 'src', 'tests', 'tsconfig.json', 'web'];
    expect(visible.filter((name) => !topLevel.includes(name))).toEqual([]);
  });
});
