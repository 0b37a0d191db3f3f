/**
 * Tells what is wrong with Rollcall itself, once each: a record that cannot be written for a while, damage that was found,
 * a backup that fails. It goes out like every other notice, also while the record is what is broken.
 */
import type { Clock } from './base/clock.ts';
import { messageOf } from './base/errors.ts';
import { unwritableToldAfterMs } from './base/limits.ts';
import type { Log } from './base/log.ts';
import type { Record } from './record/record.ts';
import { type SelfTrouble, selfTroubleNotice } from './tell/self-trouble.ts';

export interface SelfTroublesGiven {
  readonly clock: Clock;
  readonly record: Pick<Record, 'health' | 'commit' | 'kept' | 'keep'>;
  readonly log: Log;
  /** What the chores complain of, as it is now. */
  readonly chores: () => readonly SelfTrouble[];
  /** Names of the channels, as configured now. */
  readonly channels: () => readonly string[];
  readonly newId: () => string;
  /** A notice waits. */
  readonly wake: () => void;
}

const lookMs = 5_000;

/** Name under which the record keeps which damage was told: it stands in the record longer than a process lives. */
const toldDamage = 'told:damage';

/** Looks every few seconds until stopped. */
export function tellSelfTroubles(given: SelfTroublesGiven): { stop(): void } {
  const { clock, record, log, channels, newId, wake } = given;
  const told = new Set<string>();
  const lasting = lastingTrouble(given);
  let alarm = clock.after(lookMs, next);
  let stopped = false;

  const tell = async (trouble: SelfTrouble): Promise<void> => {
    log.error({ about: trouble.about }, trouble.summary);
    const at = clock.wallMs();
    const notice = selfTroubleNotice(trouble, { id: newId(), at, channels: channels() });
    try {
      await record.commit({ ...nothing, notices: [{ kind: 'add', notice }] });
    } catch (thrown) {
      // It waits in memory with everything else, and goes out from there.
      log.warn({ error: messageOf(thrown) }, 'a notice of our own could not be recorded');
    }
    wake();
  };
  const look = async (): Promise<void> => {
    const found = [...lasting(), ...given.chores()];
    for (const about of told) {
      if (!found.some((trouble) => trouble.about === about)) told.delete(about);
    }
    for (const trouble of found) {
      if (told.has(trouble.about)) continue;
      told.add(trouble.about);
      await tell(trouble);
    }
    const { damage } = record.health();
    if (damage === null || (await record.kept(toldDamage)) === damage) return;
    await record.keep(toldDamage, damage);
    await tell({ about: 'damage', summary: damage });
  };
  function next(): void {
    look()
      .catch((thrown: unknown) =>
        log.error({ error: messageOf(thrown) }, 'what is wrong here could not be told'),
      )
      .finally(() => {
        if (!stopped) alarm = clock.after(lookMs, next);
      });
  }
  return {
    stop: () => {
      stopped = true;
      alarm.cancel();
    },
  };
}

const nothing = {
  observations: [],
  memories: [],
  spans: [],
  outages: [],
  unconfirmed: [],
  notices: [],
};

/** That the record cannot be written, once that has lasted. */
function lastingTrouble({ clock, record }: SelfTroublesGiven): () => readonly SelfTrouble[] {
  let sinceMs: number | null = null;
  return () => {
    const { writable, trouble } = record.health();
    if (writable) sinceMs = null;
    else sinceMs ??= clock.monotonicMs();
    if (sinceMs === null || clock.monotonicMs() - sinceMs < unwritableToldAfterMs) return [];
    const summary = `Rollcall cannot write its record: ${trouble ?? 'no reason is known'}. It goes on asking and telling, and keeps in memory what is new.`;
    return [{ about: 'record', summary }];
  };
}
