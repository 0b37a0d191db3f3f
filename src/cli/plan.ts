/**
 * `rollcall plan`: planned work from now on, or its end. Through the running daemon; where none runs it is written into
 * the record, and the next daemon finds it there.
 */
import { randomUUID } from 'node:crypto';
import * as z from 'zod';
import { bootId, realClock } from '../base/clock-real.ts';
import { parseDurationMs } from '../base/durations.ts';
import { RollcallError } from '../base/errors.ts';
import { silentLog } from '../base/log.ts';
import type { Config } from '../config/resolve.ts';
import { cardsOf } from '../config/roll.ts';
import { Planned } from '../planned.ts';
import { planningOf } from '../planning.ts';
import { openRecord } from '../record/sqlite/open.ts';
import type { Planning, PlanWords } from '../serve/local-planning.ts';
import { askDaemon } from './daemon-client.ts';
import { configuredWithout } from './without-daemon.ts';

interface PlanGiven {
  /** As typed; with `end` the id of a window. */
  readonly duration: string | undefined;
  readonly services: readonly string[];
  readonly groups: readonly string[];
  readonly why: string | undefined;
  readonly end: boolean;
  readonly config: string | undefined;
  readonly folder: string;
}

type Wanted = { readonly plan: PlanWords } | { readonly end: string | null };

export async function plan(given: PlanGiven): Promise<void> {
  const wanted = wantedOf(given);
  const said = (await throughDaemon(given, wanted)) ?? (await directly(given, wanted));
  process.stdout.write(`${said}\n`);
}

function wantedOf(given: PlanGiven): Wanted {
  const { duration, services, groups, why } = given;
  if (given.end) return { end: duration ?? null };
  const lastsMs = parseDurationMs(duration ?? '');
  if (lastsMs === null || lastsMs === 0) {
    const found = duration === undefined ? 'nothing' : JSON.stringify(duration);
    throw new RollcallError('usage', `expected a duration such as 45m or 2h, found ${found}`);
  }
  return { plan: { lastsMs, services, groups, why: why ?? null } };
}

const answered = z.object({ said: z.string() });
const refusal = z.object({ detail: z.string() });

async function throughDaemon({ folder }: PlanGiven, wanted: Wanted): Promise<string | null> {
  const answer =
    'plan' in wanted
      ? await askDaemon(folder, 'POST', '/plan', wanted.plan)
      : await askDaemon(folder, 'POST', '/plan/end', { id: wanted.end });
  if (answer === null) return null;
  if (answer.status === 200) return answered.parse(answer.body).said;
  const { detail } = refusal.parse(answer.body);
  throw new RollcallError(answer.status === 400 ? 'usage' : 'daemon-absent', detail);
}

async function directly(given: PlanGiven, wanted: Wanted): Promise<string> {
  const { folder } = given;
  const { config } = configuredWithout(given);
  const clock = realClock();
  const own = { wallMs: clock.wallMs(), bootMs: Math.round(clock.bootMs()), bootId: bootId() };
  let pulse = own;
  const parts = { folder, clock, log: silentLog, newId: randomUUID, pulse: () => pulse };
  const record = await openRecord(parts);
  // The sign of life stays that of the daemon: that somebody planned is no watching.
  const last = await record.lastPulse();
  if (last !== null) pulse = last;
  try {
    const said = await done(await planningOn(record, config, clock), wanted);
    process.stderr.write(`No daemon runs on ${folder}: written into its record.\n`);
    return said;
  } finally {
    await record.close(pulse);
  }
}

async function planningOn(
  record: Awaited<ReturnType<typeof openRecord>>,
  config: Config,
  clock: ReturnType<typeof realClock>,
): Promise<Planning> {
  const planned = new Planned({
    clock,
    log: silentLog,
    record,
    rules: config.planned,
    cards: cardsOf(config),
    channels: config.tell,
    newId: randomUUID,
    // Nothing is told from here.
    standingOf: (id) => {
      throw new Error(`nobody watches ${id}`);
    },
    wake: () => undefined,
  });
  await planned.recall();
  return planningOf(planned, config, clock);
}

function done(planning: Planning, wanted: Wanted): Promise<string> {
  return 'plan' in wanted ? planning.plan(wanted.plan) : planning.end(wanted.end);
}
