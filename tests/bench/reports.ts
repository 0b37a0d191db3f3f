/**
 * Reports of jobs over the network, each on disk before it is answered: how long one takes of the whole when fifty clients
 * send theirs one after the other, on one machine with them.
 */
import { Pool } from 'undici';
import { place } from '../daemon/support/daemon.ts';
import { cpuUs } from './support/processes.ts';
import { type Bench, figureOf, said } from './support/table.ts';

const clients = 50;
const jobs = 10;
const windowMs = 4_000;
const windows = 7;
/** A thousand in a second. */
const targetUs = 1_000;

const tokenOf = (nth: number) => `bench-${nth}-0123456789abcdef-bench`;
const output = Buffer.from('copied 48,213 files\n'.repeat(50));

export const reports: Bench = {
  name: 'reports',
  run: async () => {
    const home = await place();
    const list = Array.from(
      { length: jobs },
      (_, nth) => `  - { name: Shelf ${nth}, every: 1h, token: ${tokenOf(nth)} }`,
    );
    const own = `services: [{ name: Board, probe: "tcp://127.0.0.1:${home.port}" }]`;
    home.configure(`${own}\njobs:\n${list.join('\n')}`);
    const daemon = await home.start();
    try {
      await countIn(daemon.url);
      const samples: number[] = [];
      const cpuBefore = cpuUs(daemon.pid);
      let count = 0;
      for (let nth = 0; nth < windows; nth++) {
        const taken = await countIn(daemon.url);
        count += taken;
        samples.push((windowMs * 1_000) / taken);
      }
      const cpu = (cpuUs(daemon.pid) - cpuBefore) / count;
      return [
        {
          what: `a report of a job, ${clients} clients at one time`,
          measured: `${said(1e6 / figureOf(samples).median, 'reports/s')}, ${said(cpu, 'µs')} of CPU`,
          floor: null,
          figure: figureOf(samples),
          unit: 'µs',
          target: targetUs,
        },
      ];
    } finally {
      await daemon.stop();
      home.remove();
    }
  },
};

/** How many were taken in one window. */
async function countIn(url: string): Promise<number> {
  const pool = new Pool(url, { connections: clients, pipelining: 1 });
  const end = performance.now() + windowMs;
  let count = 0;
  const client = async (nth: number) => {
    const headers = { authorization: `Bearer ${tokenOf(nth % jobs)}` };
    const path = `/jobs/shelf-${nth % jobs}/ended?exit=0`;
    while (performance.now() < end) {
      const { statusCode, body } = await pool.request({
        ...{ method: 'POST', path, headers, body: output },
      });
      await body.dump();
      if (statusCode !== 200) throw new Error(`not taken: ${statusCode}`);
      count++;
    }
  };
  await Promise.all(Array.from({ length: clients }, (_, nth) => client(nth)));
  await pool.close();
  return count;
}
