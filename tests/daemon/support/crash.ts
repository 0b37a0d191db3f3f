/**
 * The crash test: the real process under load, killed at seeded instants and started again on the same record, until
 * all is up and told; and after each kill, and at the end, nothing may contradict what is known from outside.
 */
import { readdirSync } from 'node:fs';
import { join } from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import { expect, vi } from 'vitest';
import { type Chance, chance } from '../../simulate/chance.ts';
import { type Cast, crashCast, type Member } from './crash-cast.ts';
import {
  type Absence,
  contradictions,
  contradictionsAtTheEnd,
  type Evidence,
  everyMs,
  type LoggedChange,
  timeoutMs,
} from './crash-proof.ts';
import { type MoodyReceiver, moodyReceiver } from './crash-receiver.ts';
import { copyRecord, type Held, readHeld } from './crash-record.ts';
import { type Launched, type Place, place, type Running } from './daemon.ts';
import { webhookSecret } from './receiver.ts';

export interface CrashGiven {
  readonly killsCount: number;
  /** The same one makes the same plan; instants differ all the same. */
  readonly seed: number;
}

/** A seed of its own, or the one in ROLLCALL_SEED. */
export function crashSeed(): number {
  return Number(process.env['ROLLCALL_SEED'] ?? Math.floor(Math.random() * 2 ** 31));
}

interface Run {
  readonly home: Place;
  readonly cast: Cast;
  readonly told: MoodyReceiver;
  readonly logged: LoggedChange[];
  readonly absences: Absence[];
  latest: Launched | null;
  endedAt: number | null;
  held: Held | null;
}

export async function crash({ killsCount, seed }: CrashGiven): Promise<void> {
  console.log(`ROLLCALL_SEED=${seed}: ${killsCount} kills`);
  const cast = await crashCast(seed);
  const told = await moodyReceiver(chance(seed, 'receiver'));
  const home = await place();
  const run: Run = {
    ...{ home, cast, told, logged: [], absences: [] },
    ...{ latest: null, endedAt: null, held: null },
  };
  home.configure(
    `services:\n${cast.members.map(({ yaml }) => `  - ${yaml}\n`).join('')}
tell: [{ name: phone, webhook: "${told.url}", secret: ${webhookSecret} }]`,
    // They go down and up all the time, and each time is to be told.
    `every: ${everyMs}ms, timeout: ${timeoutMs}ms, recheck: 500ms, settle: 0s, unsteady: tell`,
  );
  try {
    const plan = chance(seed, 'plan');
    cast.play();
    for (let killed = 0; killed < killsCount; ) {
      const life = drawn(plan);
      if (life.signal === 'SIGKILL') killed++;
      await live(run, life);
      const { lastDisturbance } = await check(run);
      if (life.signal === 'SIGTERM') expect(lastDisturbance).toBe('stopped');
    }
    await cast.rest();
    await settle(run);
    expect(contradictionsAtTheEnd(await check(run), evidenceOf(run))).toEqual([]);
    expect(told.faults).toEqual([]);
    console.log(summaryOf(run));
  } finally {
    run.latest?.signal('SIGKILL');
    await run.latest?.ended;
    await cast.rest();
    cast.close();
    await told.close();
    home.remove();
  }
}

interface Life {
  readonly signal: 'SIGKILL' | 'SIGTERM';
  /** Counted from when the daemon said that it is there, or from the start of the process. */
  readonly from: 'ready' | 'launch';
  readonly afterMs: number;
  /** Nobody is there for so long afterwards. */
  readonly pauseMs: number;
}

/** Mostly at work, now and then while it starts; now and then an orderly end; now and then a gap that counts as one. */
function drawn({ next }: Chance): Life {
  const between = (least: number, most: number) => least + next() * (most - least);
  const signal = next() < 0.1 ? 'SIGTERM' : 'SIGKILL';
  const from = signal === 'SIGKILL' && next() < 0.2 ? 'launch' : 'ready';
  const afterMs = from === 'launch' ? between(50, 1_500) : between(300, 2_500);
  return { signal, from, afterMs, pauseMs: next() < 0.1 ? between(4_000, 6_000) : between(0, 200) };
}

function launch(run: Run): Launched {
  if (run.endedAt !== null) run.absences.push({ from: run.endedAt, to: Date.now() });
  run.latest = run.home.launch();
  return run.latest;
}

async function live(run: Run, { signal, from, afterMs, pauseMs }: Life): Promise<void> {
  const isFirst = run.endedAt === null;
  const launched = launch(run);
  // A process that is killed before is never ready; the first one makes the record that all is about.
  if (from === 'ready' || isFirst) await launched.ready;
  else launched.ready.catch(() => {});
  await pause(afterMs);
  launched.signal(signal);
  await over(run, launched, signal);
  await pause(pauseMs);
}

async function over(run: Run, { ended, stdout }: Launched, signal: string): Promise<void> {
  const end = await ended;
  run.endedAt = Date.now();
  run.logged.push(...changesIn(stdout()));
  expect(end).toEqual(
    signal === 'SIGKILL' ? { code: null, signal: 'SIGKILL' } : { code: 0, signal: null },
  );
}

/** The last line may be cut. */
function changesIn(log: string): LoggedChange[] {
  return log
    .split('\n')
    .slice(0, -1)
    .map((line) => JSON.parse(line))
    .filter(({ msg }) => msg === 'state changed');
}

/** A copy of what was left, by the command's check, by the engine's own and by ours. */
async function check(run: Run): Promise<Held> {
  const { home, cast } = run;
  const copy = join(home.folder, 'copy');
  copyRecord(home.data, copy);
  const said = await home.run('record', 'check', '--data', copy);
  expect(said, said.stdout).toMatchObject({ code: 0, stderr: '' });
  const ids = cast.members.map(({ id }) => id);
  const held = await readHeld(copy, ids);
  expect(contradictions(held, run.held, evidenceOf(run))).toEqual([]);
  expect(readdirSync(home.data).filter((name) => /damaged|foreign/.test(name))).toEqual([]);
  run.held = held;
  return held;
}

function evidenceOf({ cast, told, logged, absences }: Run): Evidence {
  return { members: cast.members, arrivals: told.arrivals, logged, absences };
}

interface NoticeJson {
  readonly state: string;
}
interface OutageJson {
  readonly id: string;
  readonly restoredAt: string | null;
}

/** Each restless one once more away and back, seen by a daemon that lives; then nothing waits any more. */
async function settle(run: Run): Promise<void> {
  const { cast, told } = run;
  const launched = launch(run);
  const daemon = await launched.ready;
  const restless = cast.members.filter((member) => member.restless);
  await turned(daemon, cast.members, true);
  await turned(daemon, restless, false);
  await turned(daemon, restless, true);
  told.calm();
  const outages = await untilTold(daemon, cast.members);
  const { status } = await daemon.json<{ status: string }>('/healthz');
  expect(status).toBe('pass');
  launched.signal('SIGTERM');
  await over(run, launched, 'SIGTERM');
  const held = await check(run);
  const heldOutages = [...held.outages.values()].flat().map(({ outage }) => outage.id);
  expect(outages.map(({ id }) => id).toSorted()).toEqual(heldOutages.toSorted());
}

async function turned(daemon: Running, members: readonly Member[], serves: boolean): Promise<void> {
  for (const member of members) member.turn(serves);
  const ids = members.map(({ id }) => id);
  await vi.waitFor(async () => {
    const { services } = await daemon.json<{ services: { id: string; state: string }[] }>(
      '/api/v1/services',
    );
    const wrong = services.filter(
      ({ id, state }) => ids.includes(id) && state !== (serves ? 'up' : 'down'),
    );
    expect(wrong).toEqual([]);
  }, settling);
}

/** A delivery that failed often waits long. */
const settling = { timeout: 300_000, interval: 500 };

async function untilTold(
  daemon: Running,
  members: readonly Member[],
): Promise<readonly OutageJson[]> {
  const outages: OutageJson[] = [];
  for (const { id } of members) {
    const range = `from=${new Date(Date.now() - 86_400_000).toISOString()}`;
    const found = await daemon.json<{ complete: boolean; outages: OutageJson[] }>(
      `/api/v1/outages?service=${id}&${range}`,
    );
    expect(found.complete).toBe(true);
    outages.push(...found.outages);
  }
  for (const { id } of outages) {
    await vi.waitFor(async () => {
      const { notices } = await daemon.json<{ notices: NoticeJson[] }>(`/api/v1/outages/${id}`);
      expect(notices.filter(({ state }) => state === 'waiting')).toEqual([]);
    }, settling);
  }
  return outages;
}

function summaryOf({ held, told, logged, absences }: Run): string {
  const outages = [...(held?.outages.values() ?? [])].flat();
  const states = new Map<string, number>();
  for (const { state } of outages.flatMap(({ notices }) => notices)) {
    states.set(state, (states.get(state) ?? 0) + 1);
  }
  const arrived = told.arrivals.filter(({ taken }) => taken);
  const again = arrived.length - new Set(arrived.map(({ event }) => event.id)).size;
  return [
    `${absences.length} restarts, ${logged.length} changes logged, ${outages.length} outages`,
    `notices: ${[...states].map(([state, count]) => `${count} ${state}`).join(', ')}`,
    `${told.arrivals.length} requests, ${again} messages taken twice`,
  ].join('; ');
}
