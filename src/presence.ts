/**
 * The daemon's own presence in the record: that it came, that the one before was cut off, that it went, and every time
 * that the clocks disagreed. For people; what was not watched follows from the answers alone.
 */
import type { Clock } from './base/clock.ts';
import { messageOf } from './base/errors.ts';
import type { Log } from './base/log.ts';
import type { Record } from './record/record.ts';
import { type Beat, beat, irregularities } from './schedule/pulse.ts';

export interface PresenceGiven {
  readonly clock: Clock;
  readonly record: Pick<Record, 'disturbed' | 'disturbances' | 'lastPulse'>;
  readonly log: Log;
}

const beatMs = 5_000;

/** How long a clock that is behind the record may take to be set before the daemon goes on without it. */
const clockWaitMsMax = 60_000;
const clockLookMs = 250;

/**
 * A machine without a battery for its clock boots in the past. Nothing is recorded there:
 * the clock is waited for, and after that the judge holds on to the latest instant that it saw.
 * Resolves with what is still wrong, for people; null when the clock is right.
 */
export async function clockSet(
  { clock, record, log }: PresenceGiven,
  say: (text: string) => void,
): Promise<string | null> {
  const last = await record.lastPulse();
  const behindMs = () => (last?.wallMs ?? 0) - clock.wallMs();
  if (behindMs() <= 0) return null;
  const text = `The clock of this machine is ${Math.ceil(behindMs() / 1_000)} s behind the last entry of the record.`;
  say(`${text} Waiting for it to be set.`);
  log.warn({ behindMs: behindMs() }, 'the clock is behind the record');
  const waitsUntilMs = clock.monotonicMs() + clockWaitMsMax;
  while (behindMs() > 0 && clock.monotonicMs() < waitsUntilMs) {
    await new Promise<void>((done) => clock.after(clockLookMs, done));
  }
  return behindMs() > 0 ? `${text} Set it; until then instants stand still.` : null;
}

/** Writes down that a daemon began, and that the one before had no orderly end. */
export async function came({ clock, record }: PresenceGiven): Promise<void> {
  const at = clock.wallMs();
  // Also what a clock that has been set back since put into the future.
  const past = await record.disturbances({ from: 0, to: Number.MAX_SAFE_INTEGER });
  const last = past.at(-1);
  if (last !== undefined && last.kind !== 'stopped') {
    await record.disturbed({ at, kind: 'not-stopped-cleanly', byMs: 0 });
  }
  await record.disturbed({ at, kind: 'started', byMs: 0 });
}

/** Compares the clocks until stopped, and writes down why time went unwatched. */
export function keepBeat({ clock, record, log }: PresenceGiven): { stop(): void } {
  let before: Beat = beat(clock);
  let alarm = clock.after(beatMs, next);

  function next(): void {
    const now = beat(clock);
    for (const { kind, byMs } of irregularities(before, now, beatMs)) {
      log.warn({ kind, byMs }, 'time went unwatched, or the clock was set');
      record
        .disturbed({ at: now.wallMs, kind, byMs })
        .catch((thrown: unknown) => log.error({ error: messageOf(thrown) }, 'not recorded'));
    }
    before = now;
    alarm = clock.after(beatMs, next);
  }
  return { stop: () => alarm.cancel() };
}
