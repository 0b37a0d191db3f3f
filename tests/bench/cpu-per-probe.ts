/**
 * Processor time of the whole daemon for each probe, against the bare library call at the same rate in a process that does
 * nothing else. Both run at the same time against one server, so that whatever else the machine does disturbs both alike,
 * and are read in the same windows once they are warm: a daemon runs for months.
 */
import { type Place, place } from '../daemon/support/daemon.ts';
import { cpuUs, pause, started } from './support/processes.ts';
import { type Bench, figureOf, type Row, said } from './support/table.ts';

const perSecond = 200;
const warmMs = 45_000;
const windowMs = 10_000;
const windows = 9;
const target = 1.3;

export const cpuPerProbe: Bench = {
  name: 'cpu',
  run: async () => [
    await against('tcp', { name: 'net.connect, end, wait for the end', words: ['polite'], target }),
    // More may be needed than without goodbye: FIN, and the wait for the peer's, alone cost a fifth to a third of this floor.
    await against('tcp', { name: 'net.connect, then destroy', target: 1.5 }),
    await against('http', { name: 'undici, a fresh connection', target }),
  ],
};

interface Floor {
  readonly name: string;
  /** For its script. */
  readonly words?: readonly string[];
  /** The most that the ratio to it may be. */
  readonly target: number;
}

async function against(kind: 'tcp' | 'http', { name, words = [], target }: Floor): Promise<Row> {
  await using servers = await started('support/servers.mjs', kind, 2);
  const [ours = 0, bare = 0] = await servers.ask<number[]>('ports');
  const home = await place();
  try {
    home.configure(servicesAt(kind, ours), 'every: 1s, timeout: 900ms, recheck: 500ms, settle: 0s');
    const samples = await sampled(
      home,
      () => started(`floors/${kind}.mjs`, bare, perSecond, ...words),
      servers,
    );
    const [product, floor] = [0, 1].map((which) =>
      figureOf(samples.map((pair) => pair[which] ?? 0)),
    );
    return {
      what: `CPU per ${kind} probe, whole daemon`,
      measured: said(product?.median ?? 0, 'µs'),
      floor: `${said(floor?.median ?? 0, 'µs')} (${name})`,
      figure: figureOf(samples.map(([one, other]) => one / other)),
      unit: '×',
      target,
    };
  } finally {
    home.remove();
  }
}

type Child = Awaited<ReturnType<typeof started>>;

/** Microseconds per probe of the daemon and of its floor, window by window. */
async function sampled(
  home: Place,
  begin: () => Promise<Child>,
  servers: Child,
): Promise<[number, number][]> {
  const daemon = await home.start();
  try {
    await using floor = await begin();
    const pids = [daemon.pid, floor.pid];
    await pause(warmMs);
    const samples: [number, number][] = [];
    for (let nth = 0; nth < windows; nth++) {
      const [cpuBefore, countsBefore] = [pids.map(cpuUs), await servers.ask<number[]>('counts')];
      await pause(windowMs);
      const [cpu, counts] = [pids.map(cpuUs), await servers.ask<number[]>('counts')];
      const perProbe = (which: number) =>
        ((cpu[which] ?? 0) - (cpuBefore[which] ?? 0)) /
        ((counts[which] ?? 0) - (countsBefore[which] ?? 0));
      samples.push([perProbe(0), perProbe(1)]);
    }
    return samples;
  } finally {
    await daemon.stop();
  }
}

function servicesAt(kind: 'tcp' | 'http', port: number): string {
  const list = Array.from(
    { length: perSecond },
    (_, nth) => `  - { name: Shelf ${nth}, probe: "${kind}://127.0.0.1:${port}" }`,
  );
  return `services:\n${list.join('\n')}`;
}
