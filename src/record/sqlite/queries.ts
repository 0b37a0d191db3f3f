/** Reads everything but the tail and the outbox. */
import type { Database } from 'better-sqlite3';
import type { Log } from '../../base/log.ts';
import type { Outage, PlannedWindow, Span, UnconfirmedFailure } from '../../base/values.ts';
import type { Memory } from '../../judge/memory.ts';
import type { Disturbance, OwnerNote, Pulse, Range } from '../record.ts';
import { limitOf } from './counts.ts';
import { memoryFrom } from './memory-shape.ts';
import { type RunQueries, runQueries } from './runs.ts';
import type { ServiceKeys } from './services.ts';
import { troubleFrom } from './troubles.ts';

export interface Queries extends RunQueries {
  memory(serviceId: string): Memory | null;
  pulse(): Pulse | null;
  spans(serviceId: string, range: Range): readonly Span[];
  outages(serviceId: string | null, range: Range, countMax: number): readonly Outage[];
  outage(id: string): Outage | null;
  unconfirmed(serviceId: string, range: Range): readonly UnconfirmedFailure[];
  disturbances(range: Range): readonly Disturbance[];
  notes(outageId: string): readonly OwnerNote[];
  planned(range: Range): readonly PlannedWindow[];
  knownAt(outageId: string): number | null;
  kept(name: string): string | null;
}

interface PlannedRow extends Omit<PlannedWindow, 'serviceIds'> {
  readonly serviceIds: string | null;
}

interface OutageRow extends Omit<Outage, 'trouble'> {
  readonly reason: string;
  readonly detail: string;
  readonly hint: string | null;
}

export function queriesOf(database: Database, keys: Pick<ServiceKeys, 'known'>, log: Log): Queries {
  const given = statements(database);
  const key = (serviceId: string): number => keys.known(serviceId) ?? 0; // no service has 0

  return {
    memory: (serviceId) => {
      const row = given.memory.get(key(serviceId));
      if (!row) return null;
      const memory = memoryFrom(row.json);
      if (!memory) {
        log.error({ service: serviceId }, 'what was remembered of a service cannot be read');
      }
      return memory;
    },
    pulse: () => given.pulse.get() ?? null,
    spans: (serviceId, { from, to }) => given.spans.all({ service: key(serviceId), from, to }),
    outages: (serviceId, { from, to }, countMax) => {
      const limit = limitOf(countMax);
      const rows =
        serviceId === null
          ? given.outages.all({ from, to, limit })
          : given.outagesOf.all({ service: key(serviceId), from, to, limit });
      return rows.map(outageFrom);
    },
    outage: (id) => {
      const row = given.outage.get(id);
      return row ? outageFrom(row) : null;
    },
    unconfirmed: (serviceId, { from, to }) =>
      given.unconfirmed
        .all({ service: key(serviceId), from, to })
        .map((failure) => ({ serviceId, ...failure })),
    disturbances: ({ from, to }) => given.disturbances.all({ from, to }),
    notes: (outageId) => given.notes.all(outageId),
    planned: ({ from, to }) => given.planned.all({ from, to }).map(plannedFrom),
    knownAt: (outageId) => given.knownAt.get(outageId)?.at ?? null,
    kept: (name) => given.kept.get(name)?.words ?? null,
    ...runQueries(database),
  };
}

function outageFrom({ reason, detail, hint, ...outage }: OutageRow): Outage {
  return { ...outage, trouble: troubleFrom(reason, detail, hint) };
}

function plannedFrom({ serviceIds, ...window }: PlannedRow): PlannedWindow {
  // What was read is what `changes.ts` wrote: its row has a checksum.
  return { ...window, serviceIds: serviceIds === null ? null : JSON.parse(serviceIds) };
}

interface Ranged {
  readonly from: number;
  readonly to: number;
}
type RangedOf = Ranged & { readonly service: number };

const outageColumns = `SELECT o.id, s.id AS serviceId, o.last_good_at_ms AS lastGoodAt,
    o.first_failed_at_ms AS firstFailedAt, o.confirmed_at_ms AS confirmedAt,
    o.last_failed_at_ms AS lastFailedAt, o.restored_at_ms AS restoredAt, o.cause_id AS causeId,
    o.reason, o.detail, o.hint
  FROM outages o JOIN services s ON s.key = o.service`;
const outageTouches = `o.first_failed_at_ms < :to
  AND (o.restored_at_ms IS NULL OR o.restored_at_ms > :from)`;
const outagesNewestFirst = 'ORDER BY o.first_failed_at_ms DESC, o.id DESC LIMIT :limit';

function statements(database: Database) {
  return {
    memory: database.prepare<[number], { json: string }>(
      'SELECT json FROM memories WHERE service = ?',
    ),
    pulse: database.prepare<[], Pulse>(
      'SELECT wall_ms AS wallMs, boot_ms AS bootMs, boot_id AS bootId FROM pulse',
    ),
    // From the last span that began at or before the range; each ends where the next begins.
    spans: database.prepare<[RangedOf], Span>(
      `SELECT state, from_ms AS "from", earliest_from_ms AS earliestFrom,
         (SELECT min(n.from_ms) FROM spans n
          WHERE n.service = s.service AND n.from_ms > s.from_ms) AS "to"
       FROM spans s WHERE service = :service AND from_ms < :to
         AND from_ms >= coalesce((SELECT max(b.from_ms) FROM spans b
                                  WHERE b.service = :service AND b.from_ms <= :from), :from)
       ORDER BY from_ms`,
    ),
    outage: database.prepare<[string], OutageRow>(`${outageColumns} WHERE o.id = ?`),
    outages: database.prepare<[Ranged & { limit: number }], OutageRow>(
      `${outageColumns} WHERE ${outageTouches} ${outagesNewestFirst}`,
    ),
    outagesOf: database.prepare<[RangedOf & { limit: number }], OutageRow>(
      `${outageColumns} WHERE o.service = :service AND ${outageTouches} ${outagesNewestFirst}`,
    ),
    unconfirmed: database.prepare<[RangedOf], Omit<UnconfirmedFailure, 'serviceId'>>(
      `SELECT first_failed_at_ms AS firstFailedAt, last_good_at_ms AS lastGoodAt,
         last_failed_at_ms AS lastFailedAt, next_good_at_ms AS nextGoodAt
       FROM unconfirmed
       WHERE service = :service AND first_failed_at_ms < :to AND next_good_at_ms > :from
       ORDER BY first_failed_at_ms`,
    ),
    disturbances: database.prepare<[Ranged], Disturbance>(
      `SELECT at_ms AS at, kind, by_ms AS byMs FROM disturbances
       WHERE at_ms >= :from AND at_ms < :to ORDER BY at_ms, key`,
    ),
    notes: database.prepare<[string], OwnerNote>(
      'SELECT at_ms AS at, text FROM notes WHERE outage_id = ? ORDER BY key',
    ),
    planned: database.prepare<[Ranged], PlannedRow>(
      `SELECT id, name, why, from_ms AS "from", to_ms AS "to", service_ids AS serviceIds, origin
       FROM planned WHERE from_ms < :to AND to_ms > :from ORDER BY from_ms, id`,
    ),
    knownAt: database.prepare<[string], { at: number }>(
      'SELECT at_ms AS at FROM known WHERE outage_id = ?',
    ),
    kept: database.prepare<[string], { words: string }>('SELECT words FROM kept WHERE name = ?'),
  };
}
