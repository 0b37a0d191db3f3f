/**
 * A record that has something in every table and every form: sealed days, chunks, a tail, outages told and untold, what
 * probes keep. And all that can be read of one, to be held against another.
 */
import { randomUUID } from 'node:crypto';
import type { JobRun } from '../../../src/base/jobs.ts';
import { silentLog } from '../../../src/base/log.ts';
import type { Observation } from '../../../src/base/values.ts';
import type { Record } from '../../../src/record/record.ts';
import { type OpenGiven, openRecord } from '../../../src/record/sqlite/open.ts';
import { type SimulatedClock, simulatedClock } from '../../support/clock-simulated.ts';
import {
  always,
  answered,
  attempt,
  changes,
  failed,
  hour,
  memory,
  minute,
  notice,
  outage,
  pulse,
  second,
  t0,
  unconfirmedFailure,
} from './values.ts';

const dayMs = 24 * hour;
const livedServices = ['order-book', 'kiln-logger', 'nas'] as const;
/** When the record that was lived ends. */
const livedUntil = t0 + 2 * dayMs + 12 * hour;

export interface Opened {
  readonly record: Record;
  readonly clock: SimulatedClock;
}

export async function openAt(folder: string, given: Partial<OpenGiven> = {}): Promise<Opened> {
  const clock = simulatedClock({ wallMs: livedUntil });
  const record = await openRecord({
    folder,
    clock,
    log: silentLog,
    newId: randomUUID,
    pulse: () => pulse(clock.wallMs()),
    upkeep: 'inline',
    ...given,
  });
  return { record, clock };
}

/** Lives through two days and a half, and closes the record in good order. */
export async function liveIn(folder: string): Promise<void> {
  const { record } = await openAt(folder);
  await record.disturbed({ at: t0, kind: 'started', byMs: 0 });
  for (let at = t0; at < t0 + 2 * dayMs; at += 10 * minute) await round(record, at);
  await record.upkeep.seal(t0 + 2 * dayMs + 6 * hour);
  // Late ones of a day that is sealed, and a new day: they become chunks.
  for (let at = t0 + dayMs - 5 * minute; at < t0 + dayMs; at += minute) await round(record, at);
  for (let at = t0 + 2 * dayMs; at < livedUntil - hour; at += 10 * minute) await round(record, at);
  await record.upkeep.seal(t0 + 2 * dayMs + 6 * hour);
  for (let at = livedUntil - hour; at < livedUntil; at += minute) await round(record, at);
  for (const nth of [0, 1, 2, 3]) await tell(record, nth);
  await record.keep('wireguard:stamp', 'four words are kept');
  await record.disturbed({ at: livedUntil, kind: 'stopped', byMs: 0 });
  await record.close(pulse(livedUntil));
}

async function round(record: Record, at: number): Promise<void> {
  for (const [nth, serviceId] of livedServices.entries()) {
    await record.observe({ serviceId, observation: observationAt(at + nth * second, nth) });
  }
}

function observationAt(at: number, nth: number): Observation {
  const turn = Math.floor(at / minute) % 97;
  if (turn === 13) return failed(at, { tookUs: 5_000 + nth });
  return answered(at, {
    tookUs: 400 + ((turn * 37 + nth) % 5_000),
    phases: { connectUs: 100 + turn, answerUs: 200 },
    facts: { serverVersion: `15.${Math.floor((at - t0) / dayMs)}` },
  });
}

/** An outage with all that belongs to it. */
async function tell(record: Record, nth: number): Promise<void> {
  const serviceId = livedServices[nth % livedServices.length] ?? 'nas';
  const at = t0 + nth * 7 * hour + 13 * minute;
  const begun = outage(serviceId, at, { restoredAt: nth === 3 ? null : at + hour });
  const down = notice(`down-${nth}`, { serviceId, outageId: begun.id, at, notBefore: at });
  const up = { ...down, id: `up-${nth}`, type: 'rollcall.service.up', at: at + hour };
  await record.commit(
    changes({
      memories: [{ serviceId, memory: memory({ lastAt: at }) }],
      spans: [
        {
          serviceId,
          edits: [
            { state: 'up', from: t0 - minute, earliestFrom: t0 - minute },
            { state: 'down', from: at, earliestFrom: at - minute },
            { state: 'up', from: at + hour, earliestFrom: at + 50 * minute },
          ],
        },
      ],
      outages: [begun],
      unconfirmed: [unconfirmedFailure(serviceId, at + 2 * hour)],
      notices: [{ kind: 'add', notice: down }],
      runs: [runAt(at, nth)],
    }),
  );
  await record.attempted(attempt(down.id, { at: at + second }));
  await record.commit(changes({ notices: [{ kind: 'restore', outageId: begun.id, notice: up }] }));
  await record.note(begun.id, { at, text: 'The plug was loose again.' });
}

function runAt(at: number, nth: number): JobRun {
  return {
    ...{ id: `run-${nth}`, jobId: 'nightly-backup', beganAt: at, endedAt: at + minute, exit: nth },
    ...{ sizeBytes: 40 + nth, value: nth / 8, unit: 'GB', tail: `copied ${nth} files` },
  };
}

/** All that can be read, but the pulse. */
export async function everythingIn(record: Record) {
  const services = await Promise.all(
    livedServices.map(async (serviceId) => ({
      serviceId,
      remembered: await record.remembered(serviceId),
      observations: await record.observations(serviceId, always),
      spans: await record.spans(serviceId, always),
      unconfirmed: await record.unconfirmed(serviceId, always),
    })),
  );
  const outages = await record.outages(null, always);
  return {
    instanceId: record.instanceId,
    services,
    outages,
    disturbances: await record.disturbances(always),
    kept: await record.kept('wireguard:stamp'),
    deliveries: await Promise.all(outages.map(({ id }) => record.deliveriesOf(id))),
    runs: await record.runs('nightly-backup', always, 100),
    notes: await Promise.all(outages.map(({ id }) => record.notes(id))),
    due: await record.dueDeliveries(livedUntil, 100),
  };
}
export type Everything = Awaited<ReturnType<typeof everythingIn>>;
