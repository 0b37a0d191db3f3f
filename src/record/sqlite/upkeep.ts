/** The housework of the record as the port has it: each piece handed to what does it, and damage that shows amid it. */
import type { Clock } from '../../base/clock.ts';
import { messageOf, RollcallError } from '../../base/errors.ts';
import type { Log } from '../../base/log.ts';
import type { Soundness, Upkeep } from '../upkeep.ts';
import { isDamage, troubleWith } from './failures.ts';
import type { Sealing } from './sealing.ts';
import type { Verified } from './verify.ts';
import type { Workshop } from './workshop.ts';
import type { Writer } from './writer.ts';

export interface UpkeepGiven {
  readonly path: string;
  readonly instanceId: string;
  readonly writer: Writer;
  readonly workshop: Workshop;
  /** For backups. */
  readonly courier: Workshop;
  readonly sealing: Sealing;
  readonly clock: Clock;
  readonly log: Log;
  /** Writes what waits, or tries to. */
  readonly flush: () => void;
  /** The file is damaged: another one is to take its place. `found`: a sentence. */
  readonly replace: (found: string) => void;
}

export function upkeepOf(given: UpkeepGiven): Upkeep {
  const { path, instanceId, writer, courier, sealing, flush } = given;

  /** What waits is written first. Where that cannot be there is nothing to look after. */
  const written = (): void => {
    flush();
    const trouble = writer.trouble();
    if (trouble === null) return;
    throw new RollcallError('upkeep-failed', `The record cannot be looked after: ${trouble}.`);
  };
  const minded = async <Value>(work: () => Promise<Value>): Promise<Value> => {
    written();
    try {
      return await work();
    } catch (thrown) {
      throw mind(given, thrown);
    }
  };

  return {
    seal: (now) => minded(() => sealing.seal(now)),
    prune: (before) => minded(() => sealing.prune(before)),
    verify: async () => {
      written();
      return verified(given);
    },
    backup: (to) => minded(() => courier.run({ kind: 'backup', path, to, instanceId })),
  };
}

/** The error for the caller. Where it tells of damage, the file is replaced. */
function mind({ replace }: UpkeepGiven, thrown: unknown): unknown {
  const source = thrown instanceof RollcallError ? thrown.cause : thrown;
  if (isDamage(source)) replace(`SQLite says: ${troubleWith(source) ?? messageOf(source)}.`);
  const trouble = troubleWith(thrown);
  if (trouble === null) return thrown;
  return new RollcallError('upkeep-failed', `The record cannot be looked after: ${trouble}.`, {
    cause: thrown,
  });
}

async function verified(given: UpkeepGiven): Promise<Soundness> {
  const { writer, clock, log, replace } = given;
  const beganMs = clock.monotonicMs();
  const { database } = writer.store();
  const found = await looked(given);
  const [gravest] = found.faults;
  if (gravest !== undefined) {
    log.error({ faults: found.faults }, 'the record is not sound');
    // What was looked at may have been replaced meanwhile.
    if (writer.store().database === database) replace(gravest);
  }
  return { ...found, tookMs: Math.round(clock.monotonicMs() - beganMs) };
}

async function looked({ path, workshop, ...given }: UpkeepGiven): Promise<Verified> {
  try {
    return await workshop.run({ kind: 'verify', path });
  } catch (thrown) {
    if (!isDamage(thrown)) throw mind({ path, workshop, ...given }, thrown);
    const fault = `SQLite says: ${troubleWith(thrown) ?? messageOf(thrown)}.`;
    return { faults: [fault], sealedDaysCount: 0, observationsCount: 0 };
  }
}
