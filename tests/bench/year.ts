/** How long it takes to live a year of five services asked every minute: the whole watch, a real record, its chores. */
import { performance } from 'node:perf_hooks';
import { liveYear } from '../simulate/year.ts';
import { type Bench, figureOf, said } from './support/table.ts';

export const year: Bench = {
  name: 'year',
  run: async () => {
    const [begunMs, cpuBefore] = [performance.now(), process.cpuUsage()];
    const lived = await liveYear({ days: 365, keepsTruth: false });
    const tookS = (performance.now() - begunMs) / 1_000;
    const { user, system } = process.cpuUsage(cpuBefore);
    await lived.end();
    return [
      {
        what: 'a simulated year of five services at 60 s, CPU',
        measured: `${said(lived.roundsCount / 1e6, 'million')} rounds, ${said(tookS, 's')} by the clock`,
        floor: null,
        figure: figureOf([(user + system) / 1e6]),
        unit: 's',
        target: 120,
      },
    ];
  },
};
