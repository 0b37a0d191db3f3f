/**
 * Tells the daemon of a run, over its socket; where nobody takes it, it is stored for the next one. Never fails, and never
 * takes long: the job comes first.
 */
import {
  closeSync,
  existsSync,
  fchownSync,
  fsyncSync,
  lchownSync,
  lstatSync,
  mkdirSync,
  openSync,
  readdirSync,
  renameSync,
  rmSync,
  statSync,
  writeFileSync,
} from 'node:fs';
import { request } from 'node:http';
import { join } from 'node:path';
import { messageOf } from '../base/errors.ts';
import { spoolCountMax } from '../base/limits.ts';
import { type SpoolReport, spoolFolder, spoolName } from '../base/spool-report.ts';
import type { Passed } from './pass-through.ts';
import { socketPath } from './place.ts';

const answerMsMax = 2_000;

/** How the command went, and the number that it told, if it did. */
export interface RunTold extends Passed {
  readonly value: number | null;
  readonly unit: string | null;
}

export interface RunReporter {
  began(): Promise<void>;
  ended(at: number, run: RunTold): Promise<void>;
}

interface Given {
  /** The data folder. */
  readonly folder: string;
  readonly jobId: string;
  readonly runId: string;
  readonly beganAt: number;
  /** A line for people, where neither the daemon nor the disk takes the report. */
  readonly say: (text: string) => void;
}

export function runReporter(given: Given): RunReporter {
  const { jobId, runId, beganAt } = given;
  const report = { jobId, runId, beganAt };
  const tell = async (told: Told): Promise<void> => {
    const { what, query, body, ended } = told;
    const asked = new URLSearchParams({ run: runId, ...query });
    const path = `/jobs/${encodeURIComponent(jobId)}/${what}?${asked}`;
    const status = await post(socketPath(given.folder), path, body);
    if (status === 404) given.say(`the running daemon knows no job "${jobId}"`);
    else if (status !== 200) store(given, { ...report, ended });
    else if (ended) removeQuietly(placeOf(given.folder, report));
  };
  return {
    began: () =>
      tell({ what: 'began', query: { at: `${beganAt}` }, body: new Uint8Array(), ended: null }),
    ended: (at, { exit, sizeBytes, value, unit, output }) =>
      tell({
        what: 'ended',
        query: {
          ...{ exit: `${exit}`, at: `${at}`, began: `${beganAt}`, size: `${sizeBytes}` },
          ...(value !== null && { value: `${value}` }),
          ...(unit !== null && { unit }),
        },
        body: output,
        ended: { at, exit, sizeBytes, value, unit, output: Buffer.from(output).toString('base64') },
      }),
  };
}

interface Told {
  readonly what: 'began' | 'ended';
  readonly query: Readonly<Record<string, string>>;
  readonly body: Uint8Array;
  readonly ended: SpoolReport['ended'];
}

/** The status of the answer; null: there was none in time. */
function post(socket: string, path: string, body: Uint8Array): Promise<number | null> {
  return new Promise((resolve) => {
    const headers = {
      host: 'rollcall',
      'content-type': 'application/octet-stream',
      'content-length': body.length,
    };
    const asking = request({ socketPath: socket, path, method: 'POST', headers, agent: false });
    const end = (status: number | null): void => {
      clearTimeout(limit);
      asking.destroy();
      resolve(status);
    };
    const limit = setTimeout(() => end(null), answerMsMax);
    asking.on('response', (answer) => end(answer.statusCode ?? null));
    asking.on('error', () => end(null));
    asking.end(body);
  });
}

function placeOf(folder: string, report: Pick<SpoolReport, 'beganAt' | 'runId'>): string {
  return join(spoolFolder(folder), spoolName(report));
}

/** Whole or not at all, whenever the machine stops. */
function store({ folder, say }: Given, report: SpoolReport): void {
  // The lock lies there from the first start on (record/sqlite): a folder by another name would keep reports for nobody.
  if (!existsSync(join(folder, 'lock.db'))) {
    say(`no daemon was ever here: ${folder}; name its folder with --data or ROLLCALL_DATA`);
    return;
  }
  const place = placeOf(folder, report);
  const part = `${place}.part`;
  try {
    const spool = spoolFolder(folder);
    if (mkdirSync(spool, { recursive: true, mode: 0o700 })) {
      giveToOwner(folder, (uid, gid) => lchownSync(spool, uid, gid));
    }
    // Whoever may write here is led nowhere else.
    if (!lstatSync(spool).isDirectory()) throw new Error(`${spool} is no folder`);
    // The end of a run takes the place of its beginning.
    if (!existsSync(place) && readdirSync(spool).length >= spoolCountMax) {
      say(`${spoolCountMax} reports wait for a daemon already: this one is not kept`);
      return;
    }
    write(folder, part, JSON.stringify(report));
    renameSync(part, place);
  } catch (thrown) {
    removeQuietly(part);
    say(
      `nobody could be told of this run, and it could not be stored: ${messageOf(thrown)}${hintOf(thrown)}`,
    );
  }
}

/** By its descriptor, not its name: whoever has the folder might have put another file there meanwhile. */
function write(folder: string, path: string, text: string): void {
  const file = openSync(path, 'wx', 0o600);
  try {
    writeFileSync(file, text);
    fsyncSync(file);
    giveToOwner(folder, (uid, gid) => fchownSync(file, uid, gid));
  } finally {
    closeSync(file);
  }
}

/** What was half written on a full disk, or is known by now. */
function removeQuietly(path: string): void {
  try {
    rmSync(path, { force: true });
  } catch {
    // It is not there, or the next one to look finds it.
  }
}

function hintOf(thrown: unknown): string {
  const isRefused = thrown instanceof Error && 'code' in thrown && thrown.code === 'EACCES';
  return isRefused
    ? '; run it as the account of the daemon, or report over the network with the token of the job'
    : '';
}

/** A job of the administrator reports to a daemon that has an account of its own. */
function giveToOwner(folder: string, give: (uid: number, gid: number) => void): void {
  const { uid, gid } = statSync(folder);
  if (process.getuid?.() === 0 && uid !== 0) give(uid, gid);
}
