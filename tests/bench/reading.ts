/** Reading a month of one service, asked every 30 s, in steps of five minutes, through the record's own port: processor time. */
import { silentLog } from '../../src/base/log.ts';
import { openRecord } from '../../src/record/sqlite/open.ts';
import { simulatedClock } from '../support/clock-simulated.ts';
import { past } from './support/past.ts';
import { type Bench, figureOf, said } from './support/table.ts';

const dayMs = 24 * 3_600_000;
const days = 31;
const readings = 30;

export const reading: Bench = {
  name: 'reading',
  run: async () => {
    const month = await past({ days, servicesCount: 8, everyMs: 30_000 });
    const now = Date.now();
    const pulse = () => ({ wallMs: now, bootMs: 0, bootId: '' });
    const clock = simulatedClock({ wallMs: now });
    const record = await openRecord({
      folder: month.folder,
      clock,
      log: silentLog,
      newId: () => '',
      pulse,
      upkeep: 'inline',
    });
    try {
      const samples: number[] = [];
      let count = 0;
      for (let nth = 0; nth < readings; nth++) {
        const id = `shelf-${nth % 8}`;
        const before = process.cpuUsage();
        const steps = await record.steps(id, { from: now - (days - 1) * dayMs, to: now }, 300_000);
        const { user, system } = process.cpuUsage(before);
        samples.push((user + system) / 1_000);
        count = steps.reduce((sum, step) => sum + step.count, 0);
      }
      return [
        {
          what: 'CPU of a month of one service in steps of 5 min',
          measured: said(count, 'observations'),
          floor: null,
          figure: figureOf(samples),
          unit: 'ms',
          target: 20,
        },
      ];
    } finally {
      await record.close(pulse());
      month.remove();
    }
  },
};
