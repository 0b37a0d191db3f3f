/**
 * The pulse: calls an address now and then while Rollcall itself is well, so that whoever listens there can notice its
 * silence. When it is not well it stays silent: that is the message. Whether services are up does not matter.
 */
import { Client } from 'undici';
import type { Clock } from './base/clock.ts';
import { sayDuration } from './base/durations.ts';
import { instantText } from './base/instants.ts';
import { pulseFailuresShownAfterCount, pulseMsMax } from './base/limits.ts';
import type { Log } from './base/log.ts';
import { troubleText } from './tell/receiver-trouble.ts';

export interface PulseGiven {
  readonly clock: Clock;
  readonly log: Log;
  readonly pulse: {
    /** May hold a secret anywhere behind the host. */
    readonly to: string;
    readonly everyMs: number;
    readonly method: 'GET' | 'POST';
    readonly headers: Readonly<Record<string, string>>;
  };
  /** Whether this daemon does its work: it asks in time, and its record can be written. */
  readonly isWell: () => boolean;
  /** What a POST says of who calls. */
  readonly instanceId: string;
  readonly version: string;
}

/** How the pulse goes, for people. */
export interface PulseState {
  /** The last call that was answered with 2xx; null: none since the start. */
  readonly takenAt: number | null;
  /** What came of the last call, if it was not taken; no secret in it. */
  readonly trouble: string | null;
  /** Calls in a row that were not taken. */
  readonly failuresCount: number;
  /** Not well at the last turn: nobody was called. */
  readonly isSilent: boolean;
}

export interface PulseRun {
  state(): PulseState;
  stop(): Promise<void>;
}

/** The first call comes at once; the next one an interval after the one before began, but never beside it. */
export function startPulse(given: PulseGiven): PulseRun {
  const { clock, log, pulse, isWell } = given;
  const stopping = new AbortController();
  let state: PulseState = { takenAt: null, trouble: null, failuresCount: 0, isSilent: false };

  const beat = async (): Promise<void> => {
    const isSilent = !isWell();
    if (isSilent !== state.isSilent) {
      if (isSilent) log.warn({}, 'the pulse is silent while something is wrong with Rollcall');
      else log.info({}, 'the pulse goes on');
    }
    state = { ...state, isSilent };
    if (isSilent) return;
    const trouble = await call(given, stopping.signal);
    if (stopping.signal.aborted) return;
    // Said once for each streak, not at every beat.
    if (trouble !== null && state.failuresCount === 0) {
      log.warn({ error: trouble }, 'the pulse was not taken');
    }
    if (trouble === null && state.failuresCount > 0) log.info({}, 'the pulse is taken again');
    state =
      trouble === null
        ? { takenAt: clock.wallMs(), trouble, failuresCount: 0, isSilent }
        : { ...state, trouble, failuresCount: state.failuresCount + 1 };
  };
  let alarm = clock.after(0, turn);
  let running: Promise<void> = Promise.resolve();
  function turn(): void {
    const beganMs = clock.monotonicMs();
    running = beat().finally(() => {
      if (stopping.signal.aborted) return;
      alarm = clock.after(Math.max(pulse.everyMs - (clock.monotonicMs() - beganMs), 0), turn);
    });
  }
  return {
    state: () => state,
    stop: async () => {
      stopping.abort();
      alarm.cancel();
      await running;
    },
  };
}

/** Sentences for people; empty: it goes, or has only just stumbled. */
export function pulseTroubles({ trouble, failuresCount }: PulseState): readonly string[] {
  if (trouble === null || failuresCount < pulseFailuresShownAfterCount) return [];
  return [`The pulse is not taken: ${trouble}. Whoever listens for it takes Rollcall for dead.`];
}

/** Null: it was taken. */
async function call(given: PulseGiven, outer: AbortSignal): Promise<string | null> {
  const { clock, pulse } = given;
  const limit = new AbortController();
  const alarm = clock.after(pulseMsMax, () => limit.abort());
  const signal = AbortSignal.any([limit.signal, outer]);
  const url = new URL(pulse.to);
  const where = url.port === '' ? url.hostname : url.host;
  const client = new Client(url.origin, {
    pipelining: 0,
    headersTimeout: 0,
    bodyTimeout: 0,
    connectTimeout: pulseMsMax,
  });
  try {
    const { headers, body } = requestOf(given);
    const path = url.pathname + url.search;
    const { method } = pulse;
    const answer = await client.request({ method, path, headers, body, signal });
    // The status is all that counts: nothing of the body is waited for, and no redirect is followed.
    answer.body.on('error', () => {});
    answer.body.destroy();
    return refusalOf(answer.statusCode, where);
  } catch (thrown) {
    if (limit.signal.aborted) return `${where} did not answer within ${sayDuration(pulseMsMax)}`;
    return troubleText(thrown, where);
  } finally {
    alarm.cancel();
    await client.destroy();
  }
}

function refusalOf(status: number, where: string): string | null {
  if (status >= 200 && status < 300) return null;
  const elsewhere =
    status >= 300 && status < 400 ? ': it points elsewhere, and redirects are not followed' : '';
  return `${where} answered ${status}${elsewhere}`;
}

function requestOf({ clock, pulse, instanceId, version }: PulseGiven) {
  const own = Object.fromEntries(
    Object.entries(pulse.headers).map(([name, value]) => [name.toLowerCase(), value]),
  );
  const headers = { ...own, 'user-agent': 'Rollcall' };
  if (pulse.method === 'GET') return { headers, body: null };
  return {
    headers: { ...headers, 'content-type': 'application/json' },
    body: JSON.stringify({
      at: instantText(clock.wallMs()),
      source: `urn:uuid:${instanceId}`,
      version,
    }),
  };
}
