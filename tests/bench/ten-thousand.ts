/**
 * Ten thousand services, asked every 30 s, on one core: how late they are asked, as the daemon itself reports it, from its
 * very start; and whether each had all its turns, as their servers counted.
 */
import { execFileSync } from 'node:child_process';
import { homeOf } from './support/home.ts';
import { cpuUs, pause } from './support/processes.ts';
import { type Bench, figureOf, said } from './support/table.ts';

const servicesCount = 10_000;
const runs = 3;
/** Until all had their first turn. */
const beginningMs = 30_000;
const watchedMs = 120_000;
const turns = watchedMs / 30_000;

interface Health {
  readonly checks: { readonly 'roll:lateness': readonly { readonly observedValue: number }[] };
}

export const tenThousand: Bench = {
  name: 'ten-thousand',
  run: async () => {
    const found = [];
    for (let run = 0; run < runs; run++) found.push(await lateness());
    const share = said(100 * figureOf(found.map(({ busy }) => busy)).median, '%');
    return [
      {
        what: 'lateness p99, 10,000 services at 30 s, one core',
        measured: `${share} of the core`,
        floor: null,
        figure: figureOf(found.map(({ p99Ms }) => p99Ms)),
        unit: 'ms',
        target: 100,
      },
      {
        what: 'turns that never came, of 40,000',
        measured: '',
        floor: null,
        figure: figureOf(found.map(({ missing }) => missing)),
        unit: 'turns',
        target: 0,
      },
    ];
  },
};

async function lateness(): Promise<{ p99Ms: number; missing: number; busy: number }> {
  await using home = await homeOf({ servicesCount, every: '30s' });
  const daemon = await home.start();
  try {
    // All its threads; the servers have the other core for themselves.
    execFileSync('taskset', ['--all-tasks', '--cpu-list', '--pid', '0', String(daemon.pid)]);
    await pause(beginningMs);
    const [cpuBefore, before] = [cpuUs(daemon.pid), await home.visits()];
    await pause(watchedMs);
    const [cpu, after] = [cpuUs(daemon.pid), await home.visits()];
    const health = await daemon.json<Health>('/healthz');
    return {
      p99Ms: health.checks['roll:lateness'][0]?.observedValue ?? Number.NaN,
      // The window cuts through a turn at either end: one in a thousand may fall on either side.
      missing: Math.max(0, Math.floor(servicesCount * turns * 0.999) - (after - before)),
      busy: (cpu - cpuBefore) / 1_000 / watchedMs,
    };
  } finally {
    await daemon.stop();
  }
}
