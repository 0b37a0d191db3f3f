/**
 * `rollcall backup`: a checked copy of the record, now. The running daemon makes it, where one runs; else it is made from
 * the record as it lies there.
 */
import { randomUUID } from 'node:crypto';
import { existsSync } from 'node:fs';
import { join, resolve } from 'node:path';
import * as z from 'zod';
import { bootId, realClock } from '../base/clock-real.ts';
import { RollcallError } from '../base/errors.ts';
import { silentLog } from '../base/log.ts';
import { choresOf, type Made } from '../chores.ts';
import { loadConfig } from '../config/load.ts';
import { configError } from '../config/mistake.ts';
import type { Config } from '../config/resolve.ts';
import { openRecord } from '../record/sqlite/open.ts';
import { askDaemon } from './daemon-client.ts';
import { configFile } from './place.ts';

interface BackupGiven {
  /** As typed; undefined: where the configuration says. */
  readonly file: string | undefined;
  readonly config: string | undefined;
  readonly folder: string;
}

export async function backup(given: BackupGiven): Promise<void> {
  const to = given.file === undefined ? null : resolve(given.file);
  const { path, sizeBytes } = (await throughDaemon(given, to)) ?? (await directly(given, to));
  process.stdout.write(
    `${path}: ${(sizeBytes / 1_048_576).toFixed(1)} MB, looked through and sound.\n`,
  );
}

const made = z.object({ path: z.string(), sizeBytes: z.number() });
const refusal = z.object({ detail: z.string() });

async function throughDaemon({ folder }: BackupGiven, to: string | null): Promise<Made | null> {
  const answer = await askDaemon(folder, 'POST', '/backup', { to });
  if (answer === null) return null;
  if (answer.status !== 200) {
    throw new RollcallError('upkeep-failed', refusal.parse(answer.body).detail);
  }
  process.stderr.write(`By the daemon that runs on ${folder}.\n`);
  return made.parse(answer.body);
}

async function directly(given: BackupGiven, to: string | null): Promise<Made> {
  const { folder } = given;
  if (!existsSync(join(folder, 'rollcall.db'))) {
    throw new RollcallError('usage', `no daemon has kept a record in ${folder}`);
  }
  const settings = to === null ? configured(given).record : { keepDays: null, backup: null };
  process.stderr.write(`No daemon runs on ${folder}: from its record as it is.\n`);
  const clock = realClock();
  const pulse = () => ({ wallMs: clock.wallMs(), bootMs: clock.bootMs(), bootId: bootId() });
  const record = await openRecord({ folder, clock, log: silentLog, newId: randomUUID, pulse });
  try {
    if (to !== null) return { path: to, ...(await record.upkeep.backup(to)) };
    const chores = choresOf({ clock, record, log: silentLog, settings: () => settings });
    return await chores.backUp(clock.wallMs());
  } finally {
    await record.close(pulse());
  }
}

function configured({ config, folder }: BackupGiven): Config {
  const path = configFile(config, folder);
  if (path === null) {
    throw new RollcallError(
      'usage',
      `no daemon runs on ${folder}, and it has no rollcall.yaml that names a folder for backups: name a file`,
    );
  }
  const loaded = loadConfig({ path, env: process.env });
  if (!loaded.ok) throw configError(loaded.mistakes);
  return loaded.config;
}
