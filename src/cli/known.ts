/**
 * `rollcall known`: "I know" of an outage; no more reminders of it are sent. The running daemon puts it on record, where
 * one runs; else it is written into the record as it lies there.
 */
import { randomUUID } from 'node:crypto';
import { existsSync } from 'node:fs';
import { join } from 'node:path';
import * as z from 'zod';
import { bootId, realClock } from '../base/clock-real.ts';
import { RollcallError } from '../base/errors.ts';
import { instantText } from '../base/instants.ts';
import { silentLog } from '../base/log.ts';
import { loadConfig } from '../config/load.ts';
import { type Known, takeAsKnown } from '../known.ts';
import { openRecord } from '../record/sqlite/open.ts';
import { askDaemon } from './daemon-client.ts';
import { configFile } from './place.ts';

interface KnownGiven {
  /** Id of an outage, or id or name of what is down. */
  readonly outage: string;
  readonly config: string | undefined;
  readonly folder: string;
}

export async function known(given: KnownGiven): Promise<void> {
  const { name, outageId, at } = (await throughDaemon(given)) ?? (await directly(given));
  process.stdout.write(
    `${name}: no more reminders of the outage ${outageId}, known since ${instantText(at)}.\n`,
  );
}

const answered = z.object({ outageId: z.string(), name: z.string(), at: z.number() });
type Taken = Exclude<Known, { readonly complaint: string }>;

async function throughDaemon({ folder, outage }: KnownGiven): Promise<Taken | null> {
  const answer = await askDaemon(folder, 'POST', '/known', { outage });
  if (answer === null) return null;
  if (answer.status !== 200) {
    throw new RollcallError('data-folder-unusable', 'the daemon could not put it on record');
  }
  return answered.parse(answer.body);
}

async function directly(given: KnownGiven): Promise<Taken> {
  const { folder, outage } = given;
  if (!existsSync(join(folder, 'rollcall.db'))) {
    throw new RollcallError('usage', `no daemon has kept a record in ${folder}`);
  }
  const clock = realClock();
  const pulse = () => ({ wallMs: clock.wallMs(), bootMs: clock.bootMs(), bootId: bootId() });
  const record = await openRecord({ folder, clock, log: silentLog, newId: randomUUID, pulse });
  try {
    const taken = await takeAsKnown(outage, { record, now: clock.wallMs(), named: namesIn(given) });
    if ('complaint' in taken) throw new RollcallError('usage', taken.complaint);
    process.stderr.write(`No daemon runs on ${folder}: written into its record as it is.\n`);
    return taken;
  } finally {
    // The daemon's own last sign of life stays: nobody watched in the meantime.
    await record.close((await record.lastPulse()) ?? pulse());
  }
}

/** Names help to find it; without a configuration that can be read, ids do. */
function namesIn({ config, folder }: KnownGiven): readonly { id: string; name: string }[] {
  const path = configFile(config, folder);
  if (path === null) return [];
  const loaded = loadConfig({ path, env: process.env });
  return loaded.ok ? [...loaded.config.services, ...loaded.config.jobs] : [];
}
