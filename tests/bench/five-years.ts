/**
 * Five years of thirty services, 158 million observations: how much room one takes, and how soon after its start the daemon
 * asks the first service and shows the first page.
 */
import { fileURLToPath } from 'node:url';
import { homeOf } from './support/home.ts';
import { past } from './support/past.ts';
import { cpuUs, pause, started } from './support/processes.ts';
import { type Bench, figureOf, type Row, said } from './support/table.ts';

const given = { days: 1_826, servicesCount: 30, everyMs: 30_000 };
const runs = 7;
const script = fileURLToPath(new URL('../../src/cli/start.ts', import.meta.url));

export const fiveYears: Bench = {
  name: 'five-years',
  run: async () => {
    const record = await past(given);
    try {
      const starts = [];
      for (let run = 0; run < runs; run++) starts.push(await startOn(record.folder));
      return [bytesRow(record), ...startRows(starts)];
    } finally {
      record.remove();
    }
  },
};

function bytesRow({ sealedCount, sealedBytes }: { sealedCount: number; sealedBytes: number }): Row {
  return {
    what: 'bytes per sealed observation, all of the file',
    measured: `${said(sealedCount / 1e6, 'million')}, ${said(sealedBytes / 2 ** 20, 'MiB')}`,
    floor: null,
    figure: figureOf([sealedBytes / sealedCount]),
    unit: 'B',
    target: 1.4,
  };
}

interface Start {
  /** From the start of the process to the first connection at a service. */
  readonly firstProbeMs: number;
  /** The same until the libraries are loaded, in a process that does nothing else. */
  readonly librariesMs: number;
  /** Processor time from the request to the whole page, the first that this process shows; and of one like it a minute later. */
  readonly firstPageMs: number;
  readonly laterPageMs: number;
}

async function startOn(record: string): Promise<Start> {
  await using home = await homeOf({ servicesCount: given.servicesCount, every: '30s', record });
  const librariesBegunMs = performance.now();
  await using _floor = await started('floors/idle.mjs', script);
  const librariesMs = performance.now() - librariesBegunMs;

  const begunMs = performance.now();
  const starting = home.start();
  while ((await home.visits()) === 0) await pause(2);
  const firstProbeMs = performance.now() - begunMs;
  const daemon = await starting;
  try {
    // The first answers are in.
    await pause(5_000);
    const firstPageMs = await pageMs(daemon);
    // What was worked out for it is not kept so long.
    await pause(61_000);
    return { firstProbeMs, librariesMs, firstPageMs, laterPageMs: await pageMs(daemon) };
  } finally {
    await daemon.stop();
  }
}

async function pageMs({ url, pid }: { url: string; pid: number }): Promise<number> {
  const before = cpuUs(pid);
  const page = await fetch(url);
  const text = await page.text();
  if (!page.ok || !text.includes('Shelf 29')) throw new Error(`no page: ${page.status}`);
  return (cpuUs(pid) - before) / 1_000;
}

function startRows(starts: readonly Start[]): readonly Row[] {
  const of = (key: keyof Start) => figureOf(starts.map((start) => start[key]));
  const page = 'CPU of a page, five years of record';
  return [
    {
      what: 'first probe after the start, five years of record',
      measured: '',
      floor: `${said(of('librariesMs').median, 'ms')} (loading the same libraries)`,
      figure: of('firstProbeMs'),
      unit: 'ms',
      target: 1_000,
    },
    {
      what: `${page}: the first`,
      measured: '',
      floor: null,
      figure: of('firstPageMs'),
      unit: 'ms',
      target: 20,
    },
    {
      what: `${page}: a minute later`,
      measured: '',
      floor: null,
      figure: of('laterPageMs'),
      unit: 'ms',
      // The second page of a process is where most of what makes a page is compiled for good.
      target: 40,
    },
  ];
}
