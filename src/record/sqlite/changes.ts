/** Applies a change set: spans, outages, unconfirmed failures, memories, notices. Always within a transaction. */
import type { Database } from 'better-sqlite3';
import type { Outage, PlannedWindow, UnconfirmedFailure } from '../../base/values.ts';
import type { Memory, SpanEdit } from '../../judge/memory.ts';
import type { ChangeSet, Disturbance, OwnerNote, Pulse } from '../record.ts';
import type { NoticeEdits } from './notices.ts';
import { runKeeper } from './runs.ts';
import type { ServiceKeys } from './services.ts';
import { troubleColumns } from './troubles.ts';

/** A change set without its observations: those go into the tail. */
type Consequences = Omit<ChangeSet, 'observations'>;

export interface Changes {
  apply(changes: Consequences): void;
  disturbed(disturbance: Disturbance): void;
  note(outageId: string, note: OwnerNote): void;
  pulse(pulse: Pulse): void;
  keep(name: string, words: string): void;
}

interface Given {
  readonly keys: ServiceKeys;
  readonly notices: NoticeEdits;
}

export function changesOn(database: Database, { keys, notices }: Given): Changes {
  const editSpan = spanEditor(database);
  const run = statements(database);
  const keepRun = runKeeper(database);
  const { putOutage, putUnconfirmed, putMemory, addDisturbance, addNote, putPulse, putKept } = run;

  const keepOutage = (outage: Outage): void => {
    putOutage.run(
      outage.id,
      keys.made(outage.serviceId),
      outage.lastGoodAt,
      outage.firstFailedAt,
      outage.confirmedAt,
      outage.lastFailedAt,
      outage.restoredAt,
      outage.causeId,
      ...troubleColumns(outage.trouble),
    );
  };
  const keepUnconfirmed = (failure: UnconfirmedFailure): void => {
    const { serviceId, firstFailedAt, lastGoodAt, lastFailedAt, nextGoodAt } = failure;
    putUnconfirmed.run(keys.made(serviceId), firstFailedAt, lastGoodAt, lastFailedAt, nextGoodAt);
  };
  const keepMemory = ({ serviceId, memory }: { serviceId: string; memory: Memory }): void => {
    putMemory.run(keys.made(serviceId), JSON.stringify(memory));
  };

  const keepPlanned = (window: PlannedWindow): void => {
    const { id, name, why, from, to, serviceIds, origin } = window;
    if (to <= from) run.dropPlanned.run(id);
    else {
      const ids = serviceIds && JSON.stringify(serviceIds);
      run.putPlanned.run(id, name, why, from, to, ids, origin);
    }
  };

  return {
    apply: (changes) => {
      for (const { serviceId, edits } of changes.spans) {
        for (const edit of edits) editSpan(keys.made(serviceId), edit);
      }
      changes.outages.forEach(keepOutage);
      changes.unconfirmed.forEach(keepUnconfirmed);
      changes.memories.forEach(keepMemory);
      changes.planned?.forEach(keepPlanned);
      changes.runs?.forEach(keepRun);
      for (const { outageId, at } of changes.known ?? []) run.addKnown.run(outageId, at);
      for (const { name, words } of changes.keeps ?? []) putKept.run(name, words);
      for (const edit of changes.notices) notices.apply(edit);
    },
    disturbed: ({ at, kind, byMs }) => void addDisturbance.run(at, kind, byMs),
    note: (outageId, { at, text }) => void addNote.run(outageId, at, text),
    pulse: ({ wallMs, bootMs, bootId }) => void putPulse.run(wallMs, bootMs, bootId),
    keep: (name, words) => void putKept.run(name, words),
  };
}

/**
 * What began at or after the edit never was; what ran until then ends there, because the next span begins.
 * An edit that goes on in the state before it changes nothing. What began at the very instant of the edit leaves it the
 * uncertainty of its beginning: after a clock was set back, changes of a whole while stand at one instant.
 */
function spanEditor(database: Database): (service: number, edit: SpanEdit) => void {
  const begun = database.prepare<[number, number], { earliest: number }>(
    'SELECT earliest_from_ms AS earliest FROM spans WHERE service = ? AND from_ms = ?',
  );
  const drop = database.prepare<[number, number]>(
    'DELETE FROM spans WHERE service = ? AND from_ms >= ?',
  );
  const last = database.prepare<[number], { state: string }>(
    'SELECT state FROM spans WHERE service = ? ORDER BY from_ms DESC LIMIT 1',
  );
  const insert = database.prepare<[number, number, number, string]>(
    'INSERT INTO spans (service, from_ms, earliest_from_ms, state) VALUES (?, ?, ?, ?)',
  );
  return (service, { state, from, earliestFrom }) => {
    const earliest = Math.min(begun.get(service, from)?.earliest ?? earliestFrom, earliestFrom);
    drop.run(service, from);
    if (last.get(service)?.state !== state) insert.run(service, from, earliest, state);
  };
}

function statements(database: Database) {
  return {
    putOutage: database.prepare(
      `INSERT OR REPLACE INTO outages (id, service, last_good_at_ms, first_failed_at_ms,
         confirmed_at_ms, last_failed_at_ms, restored_at_ms, cause_id, reason, detail, hint)
       VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
    ),
    putUnconfirmed: database.prepare(
      `INSERT OR REPLACE INTO unconfirmed (service, first_failed_at_ms, last_good_at_ms,
         last_failed_at_ms, next_good_at_ms)
       VALUES (?, ?, ?, ?, ?)`,
    ),
    putMemory: database.prepare('INSERT OR REPLACE INTO memories (service, json) VALUES (?, ?)'),
    addDisturbance: database.prepare(
      'INSERT INTO disturbances (at_ms, kind, by_ms) VALUES (?, ?, ?)',
    ),
    addNote: database.prepare('INSERT INTO notes (outage_id, at_ms, text) VALUES (?, ?, ?)'),
    putPulse: database.prepare(
      'INSERT OR REPLACE INTO pulse (only_row, wall_ms, boot_ms, boot_id) VALUES (1, ?, ?, ?)',
    ),
    putPlanned: database.prepare(
      `INSERT OR REPLACE INTO planned (id, name, why, from_ms, to_ms, service_ids, origin)
       VALUES (?, ?, ?, ?, ?, ?, ?)`,
    ),
    dropPlanned: database.prepare('DELETE FROM planned WHERE id = ?'),
    addKnown: database.prepare('INSERT OR IGNORE INTO known (outage_id, at_ms) VALUES (?, ?)'),
    putKept: database.prepare('INSERT OR REPLACE INTO kept (name, words) VALUES (?, ?)'),
  };
}
