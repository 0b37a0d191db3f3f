/**
 * Resident memory of the daemon with thirty services after a month, and after a person has looked at its pages, against a
 * process that has loaded the same libraries and does nothing.
 */
import { fileURLToPath } from 'node:url';
import { homeOf } from './support/home.ts';
import { past } from './support/past.ts';
import { pause, residentMib, started } from './support/processes.ts';
import { type Bench, figureOf, said } from './support/table.ts';

const given = { days: 30, servicesCount: 30, everyMs: 30_000 };
const runs = 3;
const settledMs = 30_000;
const readings = 12;
const betweenMs = 5_000;
const script = fileURLToPath(new URL('../../src/cli/start.ts', import.meta.url));

export const memory: Bench = {
  name: 'memory',
  run: async () => {
    const month = await past(given);
    try {
      const pairs: { daemon: number; floor: number }[] = [];
      for (let run = 0; run < runs; run++) pairs.push(...(await readTogether(month.folder)));
      return [
        {
          what: 'resident memory, 30 services, a month of record',
          measured: said(figureOf(pairs.map(({ daemon }) => daemon)).median, 'MiB'),
          floor: `${said(figureOf(pairs.map(({ floor }) => floor)).median, 'MiB')} (idle, the same libraries)`,
          figure: figureOf(pairs.map(({ daemon, floor }) => daemon / floor)),
          unit: '×',
          target: 1.25,
        },
      ];
    } finally {
      month.remove();
    }
  },
};

async function readTogether(record: string): Promise<{ daemon: number; floor: number }[]> {
  await using home = await homeOf({ servicesCount: given.servicesCount, every: '30s', record });
  await using floor = await started('floors/idle.mjs', script);
  const daemon = await home.start();
  try {
    for (const path of ['', 'services/shelf-0', 'services/shelf-1', '']) {
      await (await fetch(new URL(path, daemon.url))).text();
    }
    await pause(settledMs);
    const pairs: { daemon: number; floor: number }[] = [];
    for (let nth = 0; nth < readings; nth++) {
      await pause(betweenMs);
      pairs.push({ daemon: residentMib(daemon.pid), floor: residentMib(floor.pid) });
    }
    return pairs;
  } finally {
    await daemon.stop();
  }
}
