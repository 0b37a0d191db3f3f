/** The demo as a whole: servers, receiver, the day before, the daemon itself, and the play; and all of it taken down again. */
import { mkdtempSync, rmSync } from 'node:fs';
import { createServer } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { realClock } from '../base/clock-real.ts';
import { type Log, silentLog } from '../base/log.ts';
import { version } from '../base/version.ts';
import { socketPath } from '../cli/place.ts';
import { secretMasker } from '../config/mask.ts';
import { Daemon } from '../daemon.ts';
import { dismiss, gather } from './cast.ts';
import { writePast } from './past.ts';
import { openReceiver } from './receiver.ts';
import { play, type Report } from './script.ts';
import { listen, studioLookup } from './stage.ts';
import { jobToken, studioConfig } from './studio.ts';

interface RunGiven {
  /** A line for stdout: what the receiver of the webhook was told. */
  readonly print: (line: string) => void;
  /** A line for stderr. */
  readonly say: (line: string) => void;
  readonly signal: AbortSignal;
}

const usualPort = 7_655;

/** Until the signal is aborted; then everything is closed, and the data folder removed. */
export async function run(given: RunGiven): Promise<void> {
  // What was begun is ended in the opposite order, also when not all of it could be begun.
  const ends: (() => Promise<void> | void)[] = [];
  try {
    await runUntilEnd(given, (end) => ends.push(end));
  } finally {
    for (const end of ends.reverse()) await end();
  }
}

async function runUntilEnd(
  { print, say, signal }: RunGiven,
  atEnd: (end: () => Promise<void> | void) => void,
): Promise<void> {
  const clock = realClock();
  const folder = mkdtempSync(join(tmpdir(), 'rollcall-demo-'));
  atEnd(() => rmSync(folder, { recursive: true, force: true }));
  const cast = await gather(clock);
  atEnd(() => dismiss(cast));
  const receiver = await openReceiver(print);
  atEnd(() => receiver.close());
  const board = { host: '127.0.0.1', port: await boardPort() };
  const config = studioConfig({ cast, board, receiver });
  await writePast({ folder, services: config.services, jobs: config.jobs, clock });
  const daemon = await Daemon.start({
    config,
    folder,
    socket: socketPath(folder),
    log: errorsTo(say),
    say,
    version,
    mask: secretMasker([receiver.secret]),
    reread: async () => config,
    lookup: studioLookup(Object.values(cast)),
  });
  atEnd(() => daemon.stop());
  say(introduction(daemon.url));
  await play({ cast, report: reportTo(daemon.url), clock, say, signal });
}

/** As a line of curl would. */
function reportTo(url: string): Report {
  return async (path, output) => {
    const { status } = await fetch(new URL(`jobs/${path}`, url), {
      method: 'POST',
      headers: { authorization: `Bearer ${jobToken}` },
      body: output,
    });
    if (status !== 200) throw new Error(`the report was answered with ${status}`);
  };
}

function introduction(url: string): string {
  return [
    `The board: ${url}`,
    'A pottery studio, its servers and the day behind it, all invented: the servers run in this process, on loopback.',
    'Below, what happens to them, and every webhook as its receiver got it. Ctrl-C ends and leaves nothing behind.',
  ].join('\n');
}

/** The usual one if it is free. */
async function boardPort(): Promise<number> {
  const server = createServer();
  const address = '127.0.0.1';
  const port = await listen(server, usualPort, address).catch(() => listen(server, 0, address));
  await new Promise<void>((resolve) => server.close(() => resolve()));
  return port;
}

/** The daemon's log is for programs; here only its defects are of interest. */
function errorsTo(say: (line: string) => void): Log {
  return {
    ...silentLog,
    error: (fields, message) => say(`${message}: ${JSON.stringify(fields)}`),
  };
}
