/**
 * The roll over a month of record: processor time of one page as it is asked now and then, with thirty and with a thousand
 * services; and how many pages come in a second, beside those of a route that sends a text of the same size.
 */
import { Pool, request } from 'undici';
import { homeOf } from './support/home.ts';
import { past } from './support/past.ts';
import { cpuUs, pause, started } from './support/processes.ts';
import { type Bench, figureOf, type Row, said } from './support/table.ts';

/** Longer than a page is kept for everybody, so that each is made anew. */
const oftenMs = 1_100;
const oftenPages = 40;
/** The first ones of a process are still being compiled. */
const unusedPages = 15;
/** As somebody asks who looks now and then: by then much of what it takes has to be compiled again. */
const seldomMs = 15_000;
const seldomPages = 10;
const windowMs = 4_000;
const windows = 7;
const connections = 8;

interface Daemon {
  readonly url: string;
  readonly pid: number;
}

export const board: Bench = {
  name: 'board',
  run: async () => [...(await ofThirty()), await ofThousand()],
};

async function ofThirty(): Promise<readonly Row[]> {
  const record = await past({ days: 31, servicesCount: 30, everyMs: 30_000 });
  await using home = await homeOf({ servicesCount: 30, every: '30s', record: record.folder });
  const daemon = await home.start();
  try {
    await pause(10_000);
    const size = (await (await fetch(daemon.url)).text()).length;
    const often = await asked(daemon, oftenPages, oftenMs);
    const seldom = await asked(daemon, seldomPages, seldomMs);
    return [
      {
        what: 'CPU of a roll of 30 services, asked every second',
        measured: said(size / 1_000, 'kB'),
        floor: null,
        figure: figureOf(often.slice(unusedPages)),
        unit: 'ms',
        target: 5,
      },
      {
        what: `CPU of a roll of 30 services, asked every ${seldomMs / 1_000} s`,
        measured: '',
        floor: null,
        figure: figureOf(seldom),
        unit: 'ms',
        target: 20,
      },
      await pagesASecond(daemon, size),
      ...(await weight(daemon)),
    ];
  } finally {
    await daemon.stop();
    record.remove();
  }
}

/** What goes over the wire to a browser that comes for the first time. */
async function weight({ url }: Daemon): Promise<readonly Row[]> {
  const html = await (await fetch(url)).text();
  const linked = (pattern: RegExp) => new URL(pattern.exec(html)?.[1] ?? '', url).href;
  const [style, script] = [linked(/href="([^"]+\.css)"/), linked(/src="([^"]+\.js)"/)];
  const all = await Promise.all([url, style, script].map((one) => sentBytes(one, 'br')));
  const row = (what: string, bytes: number, target: number): Row => ({
    what,
    measured: '',
    floor: null,
    figure: figureOf([bytes / 1_000]),
    unit: 'kB',
    target,
  });
  return [
    row('sent for a roll of 30 services, its style and its script', sum(all), 60),
    row('of it the script, as gzip', await sentBytes(script, 'gzip'), 15),
  ];
}

async function sentBytes(address: string, encoding: string): Promise<number> {
  const { body, headers } = await request(address, { headers: { 'accept-encoding': encoding } });
  if (headers['content-encoding'] !== encoding) throw new Error(`${address} is not ${encoding}`);
  return (await body.arrayBuffer()).byteLength;
}

function sum(all: readonly number[]): number {
  return all.reduce((one, other) => one + other, 0);
}

async function ofThousand(): Promise<Row> {
  await using home = await homeOf({ servicesCount: 1_000, every: '5m' });
  const daemon = await home.start();
  try {
    await pause(30_000);
    const samples = await asked(daemon, seldomPages, oftenMs);
    return {
      what: 'CPU of a roll of 1,000 services, most of them folded',
      measured: '',
      floor: null,
      figure: figureOf(samples),
      unit: 'ms',
      target: 50,
    };
  } finally {
    await daemon.stop();
  }
}

async function asked(daemon: Daemon, pages: number, everyMs: number): Promise<number[]> {
  const samples: number[] = [];
  for (let nth = 0; nth < pages; nth++) {
    await pause(everyMs);
    samples.push(await pageMs(daemon));
  }
  return samples;
}

async function pageMs({ url, pid }: Daemon): Promise<number> {
  const before = cpuUs(pid);
  const page = await fetch(url);
  await page.text();
  if (!page.ok) throw new Error(`no page: ${page.status}`);
  return (cpuUs(pid) - before) / 1_000;
}

/** By turns, so that what the machine does besides falls on both. */
async function pagesASecond({ url }: Daemon, size: number): Promise<Row> {
  await using floor = await started('floors/board.mjs', size);
  const port = await floor.ask<number>('port');
  const ratios: number[] = [];
  const [own, plain]: number[][] = [[], []];
  await rateOf(url);
  await rateOf(`http://127.0.0.1:${port}/`);
  for (let nth = 0; nth < windows; nth++) {
    const [rate, floorRate] = [await rateOf(url), await rateOf(`http://127.0.0.1:${port}/`)];
    own?.push(rate);
    plain?.push(floorRate);
    ratios.push(floorRate / rate);
  }
  return {
    what: 'a second of rolls of 30 services: how many times more a plain route sends',
    measured: said(figureOf(own ?? []).median, 'pages/s'),
    floor: said(figureOf(plain ?? []).median, 'pages/s'),
    figure: figureOf(ratios),
    unit: '×',
    target: 2,
  };
}

async function rateOf(address: string): Promise<number> {
  const { origin, pathname } = new URL(address);
  const pool = new Pool(origin, { connections, pipelining: 1 });
  const end = performance.now() + windowMs;
  let count = 0;
  const ask = async () => {
    while (performance.now() < end) {
      const { body, statusCode } = await pool.request({ path: pathname, method: 'GET' });
      await body.dump({ limit: 2 ** 24 });
      if (statusCode !== 200) throw new Error(`no page: ${statusCode}`);
      count++;
    }
  };
  await Promise.all(Array.from({ length: connections }, ask));
  await pool.close();
  return (count * 1_000) / windowMs;
}
