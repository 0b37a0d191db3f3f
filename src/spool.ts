/**
 * Reports of `rollcall job run` that no daemon took: files in the data folder, taken in at the start and every minute. A
 * report that is taken in twice is one report: it carries the id of its run.
 */
import { lstatSync, readdirSync, readFileSync, rmSync, statSync } from 'node:fs';
import { join } from 'node:path';
import type { Alarm, Clock } from './base/clock.ts';
import { messageOf } from './base/errors.ts';
import type { RunTaken } from './base/jobs.ts';
import { spoolBytesMax, spoolCountMax, spoolLookMs } from './base/limits.ts';
import type { Log } from './base/log.ts';
import { parsedSpoolReport, type SpoolReport, spoolFolder } from './base/spool-report.ts';
import type { Jobs } from './jobs.ts';

export interface SpoolGiven {
  readonly folder: string;
  readonly clock: Clock;
  readonly log: Log;
  readonly jobs: Pick<Jobs, 'knows' | 'began' | 'ended'>;
}

/** To write one takes a moment. */
const cutOffAfterMs = 3_600_000;

export interface Spool {
  /** Takes in what is there. Does not reject. */
  look(): Promise<void>;
  /** From now on every minute. */
  begin(): void;
  stop(): Promise<void>;
}

export function spoolIn(given: SpoolGiven): Spool {
  const { folder, clock } = given;
  let alarm: Alarm | null = null;
  let looking: Promise<void> = Promise.resolve();
  const look = (): Promise<void> => {
    looking = looking.then(() => takeAll(given, spoolFolder(folder)));
    return looking;
  };
  const begin = (): void => {
    alarm = clock.after(spoolLookMs, () => {
      begin();
      void look();
    });
  };
  return {
    look,
    begin,
    stop: async () => {
      alarm?.cancel();
      await looking;
    },
  };
}

async function takeAll(given: SpoolGiven, folder: string): Promise<void> {
  dropCutOff(given, folder);
  for (const name of namesIn(folder)) {
    try {
      await takeIn(given, join(folder, name));
    } catch (thrown) {
      given.log.error({ name, error: messageOf(thrown) }, 'a stored report could not be taken in');
    }
  }
}

/** What was being written when a machine stopped; it would count as waiting for ever. */
function dropCutOff({ clock, log }: SpoolGiven, folder: string): void {
  try {
    for (const name of readdirSync(folder).filter((one) => one.endsWith('.part'))) {
      const path = join(folder, name);
      if (lstatSync(path).mtimeMs < clock.wallMs() - cutOffAfterMs) rmSync(path, { force: true });
    }
  } catch (thrown) {
    // Nothing was ever stored here; or one was finished meanwhile: the next look finds the rest.
    log.debug({ error: messageOf(thrown) }, 'the stored reports could not be looked through');
  }
}

/** In the order of their names, which begin with the instant. Those that are being written have another ending. */
function namesIn(folder: string): readonly string[] {
  try {
    // Nothing else: a pipe that lies there would be read for ever.
    const files = readdirSync(folder, { withFileTypes: true }).filter((entry) => entry.isFile());
    const names = files.map(({ name }) => name).filter((name) => name.endsWith('.json'));
    return names.sort().slice(0, spoolCountMax);
  } catch {
    // Nothing was ever stored here.
    return [];
  }
}

async function takeIn({ jobs, log }: SpoolGiven, path: string): Promise<void> {
  const report =
    statSync(path).size > spoolBytesMax ? null : parsedSpoolReport(readFileSync(path, 'utf8'));
  if (report === null || !jobs.knows(report.jobId)) {
    log.warn({ job: report?.jobId ?? null }, 'a stored report is of no job, or cannot be read');
    rmSync(path);
    return;
  }
  const { durable } = await taken(jobs, report);
  // While the record cannot be written it waits here as well: the memory may be gone before the disk is back.
  if (durable) rmSync(path);
}

function taken(jobs: SpoolGiven['jobs'], report: SpoolReport): Promise<RunTaken> {
  const { jobId, runId, beganAt, ended } = report;
  if (ended === null) return jobs.began(jobId, { runId, at: beganAt });
  const { at, exit, sizeBytes, value, unit, output } = ended;
  return jobs.ended(jobId, {
    ...{ runId, beganAt, at, exit, sizeBytes, value, unit },
    output: Buffer.from(output, 'base64'),
  });
}
