/** What a day of thirty services at 30 s writes to the disk, by the kernel's own count. */
import { fork } from 'node:child_process';
import { once } from 'node:events';
import { fileURLToPath } from 'node:url';
import { type Bench, figureOf } from './support/table.ts';

const script = fileURLToPath(new URL('support/day-of-writes.ts', import.meta.url));
const loader = new URL('../support/typescript.mjs', import.meta.url).href;

export const writes: Bench = {
  name: 'writes',
  run: async () => {
    const child = fork(script, [], { execArgv: ['--import', loader] });
    const [bytes] = await once(child, 'message');
    return [
      {
        what: 'written to disk in a day, 30 services at 30 s',
        measured: '',
        floor: null,
        figure: figureOf([Number(bytes) / 1e6]),
        unit: 'MB',
        target: 60,
      },
    ];
  },
};
