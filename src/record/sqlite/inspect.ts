/**
 * A look through the whole record for a command, on a connection of its own that only reads: whether the file is as it was
 * written, and whether all that is worked out in it follows from the answers. A daemon may be writing meanwhile: what is
 * looked at is the record as it was at one instant.
 */
import { existsSync } from 'node:fs';
import { join } from 'node:path';
import Database from 'better-sqlite3';
import { RollcallError } from '../../base/errors.ts';
import { silentLog } from '../../base/log.ts';
import { type AnswersInTheMaking, packedAnswers } from '../answers.ts';
import { contradictionsIn } from '../arithmetic.ts';
import type { Range } from '../record.ts';
import { dayMs } from './days.ts';
import { isDamage, troubleWith } from './failures.ts';
import { historyOf } from './history.ts';
import { checkShape } from './read-only.ts';
import { knowRowChecksums } from './row-checksums.ts';
import { type Store, storeOn } from './store.ts';
import { verify } from './verify.ts';

export interface Inspected {
  /** Sentences: the file is not as it was written. The rest was not looked at then. */
  readonly faults: readonly string[];
  /** By service, sentences: this does not follow from the answers. Services without any are left out. */
  readonly contradictions: readonly {
    readonly serviceId: string;
    readonly found: readonly string[];
  }[];
  readonly servicesCount: number;
  readonly observationsCount: number;
  readonly sealedDaysCount: number;
}

/** Null: there is no record in this folder. Throws `data-folder-unusable`, or `record-newer`. */
export async function inspectRecord(folder: string): Promise<Inspected | null> {
  const path = join(folder, 'rollcall.db');
  if (!existsSync(path)) return null;
  const database = new Database(path, { readonly: true, fileMustExist: true });
  try {
    knowRowChecksums(database);
    checkShape(database);
    database.exec('BEGIN');
    return await inspected(database);
  } catch (thrown) {
    const trouble = troubleWith(thrown);
    if (trouble === null) throw thrown;
    if (isDamage(thrown)) return damaged(`SQLite says: ${trouble}.`);
    throw new RollcallError(
      'data-folder-unusable',
      `The record in ${folder} cannot be read: ${trouble}.`,
      { cause: thrown },
    );
  } finally {
    database.close();
  }
}

function damaged(fault: string): Inspected {
  const nothing = { servicesCount: 0, observationsCount: 0, sealedDaysCount: 0 };
  return { faults: [fault], contradictions: [], ...nothing };
}

async function inspected(database: Database.Database): Promise<Inspected> {
  const end = verify(database).next();
  const { faults, ...counts } = end.done ? end.value : { ...damaged('') };
  const ids = database.prepare<[], string>('SELECT id FROM services ORDER BY id').pluck().all();
  const whole = { ...counts, faults, servicesCount: ids.length };
  if (faults.length > 0) return { ...whole, contradictions: [] };
  const store = storeOn(database, silentLog);
  const setBack = timesSetBack(store);
  const contradictions: { serviceId: string; found: readonly string[] }[] = [];
  for (const serviceId of ids) {
    const found = await contradictionsOf(store, serviceId, setBack);
    if (found.length > 0) contradictions.push({ serviceId, found });
  }
  return { ...whole, contradictions };
}

const always: Range = { from: 0, to: Number.POSITIVE_INFINITY };

async function contradictionsOf(
  store: Store,
  serviceId: string,
  setBack: readonly Range[],
): Promise<readonly string[]> {
  const { queries } = store.tables;
  const spans = queries.spans(serviceId, always);
  const answers = await answersOf(store, serviceId);
  return contradictionsIn({
    spans,
    outages: [...queries.outages(serviceId, always, Number.POSITIVE_INFINITY)].reverse(),
    unconfirmed: queries.unconfirmed(serviceId, always),
    answers,
    // What was before the oldest answer that is kept, nobody can tell any more.
    doubtful: [...setBack, { from: 0, to: forgottenUntil(answers, spans[0]?.from) }],
  });
}

/** The instant until which answers were forgotten; 0: none were. */
function forgottenUntil(answers: AnswersInTheMaking, beginsAt: number | undefined): number {
  if (answers.count === 0) return Number.POSITIVE_INFINITY;
  return beginsAt !== undefined && beginsAt < answers.at(0) ? answers.at(0) : 0;
}

/** A month at a time, so that years are not in memory as objects. */
const stretchMs = 31 * dayMs;

async function answersOf(store: Store, serviceId: string): Promise<AnswersInTheMaking> {
  const answers = packedAnswers();
  const history = historyOf({ store: () => store, queue: { observationsOf: () => [] } });
  const service = store.tables.keys.known(serviceId);
  const days = service === null ? [] : store.blocks.days(service, always);
  const instants = service === null ? [] : store.tail.instants(service);
  const first = Math.min(...days.slice(0, 1).map((day) => day * dayMs), ...extremes(instants));
  const last = Math.max(...days.slice(-1).map((day) => (day + 1) * dayMs), ...extremes(instants));
  for (let from = first; from <= last; from += stretchMs) {
    for (const { at, outcome } of await history.observations(serviceId, {
      from,
      to: from + stretchMs,
    })) {
      answers.add(at, outcome);
    }
  }
  return answers;
}

function extremes(instants: readonly number[]): readonly number[] {
  let [least, most] = [Number.POSITIVE_INFINITY, Number.NEGATIVE_INFINITY];
  for (const instant of instants) {
    least = Math.min(least, instant);
    most = Math.max(most, instant);
  }
  return instants.length === 0 ? [] : [least, most];
}

/** Around the instants at which the clock was set back: what was judged then creeps on behind what came before. */
function timesSetBack({ tables }: Store): readonly Range[] {
  const hourMs = 3_600_000;
  return tables.queries
    .disturbances(always)
    .filter(({ kind, byMs }) => kind === 'clock-stepped' && byMs < 0)
    .map(({ at, byMs }) => ({ from: at - hourMs, to: at - byMs + hourMs }));
}
