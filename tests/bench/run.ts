/**
 * `npm run bench`: what Rollcall costs, as ratios to floors that are measured in the same run. Names of benchmarks: only
 * those. `--keep` writes the table into `results/`, under the date.
 */
import { mkdirSync, writeFileSync } from 'node:fs';
import { cpus } from 'node:os';
import { board } from './board.ts';
import { cpuPerProbe } from './cpu-per-probe.ts';
import { fiveYears } from './five-years.ts';
import { memory } from './memory.ts';
import { reading } from './reading.ts';
import { reports } from './reports.ts';
import { type Bench, isMet, type Row, tableOf } from './support/table.ts';
import { tenThousand } from './ten-thousand.ts';
import { writes } from './writes.ts';
import { year } from './year.ts';

const benches: readonly Bench[] = [
  cpuPerProbe,
  memory,
  tenThousand,
  fiveYears,
  reading,
  board,
  reports,
  writes,
  year,
];

const asked = process.argv.slice(2);
const keep = asked.includes('--keep');
const names = asked.filter((word) => !word.startsWith('-'));
const unknown = names.find((name) => !benches.some((bench) => bench.name === name));
if (unknown !== undefined) {
  console.error(`no benchmark ${unknown}; there are ${benches.map(({ name }) => name).join(', ')}`);
  process.exit(2);
}

const rows: Row[] = [];
for (const bench of benches) {
  if (names.length > 0 && !names.includes(bench.name)) continue;
  console.error(`${bench.name} …`);
  rows.push(...(await bench.run()));
}

const cores = cpus().length;
const table = tableOf(rows);
console.log(`${table}\n\nNode ${process.versions.node}, ${cores} cores`);
if (keep) {
  const date = new Date().toISOString().slice(0, 10);
  const folder = new URL('results/', import.meta.url);
  mkdirSync(folder, { recursive: true });
  writeFileSync(
    new URL(`${date}.md`, folder),
    `# What it costs, ${date}\n\nNode ${process.versions.node}, ${cores} cores. Medians, with the least and the most of all windows or runs.\n\n${table}\n`,
  );
}
process.exitCode = rows.every(isMet) ? 0 : 1;
