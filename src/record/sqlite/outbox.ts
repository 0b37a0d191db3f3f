/** Reads the outbox: what may be sent now, and what became of what was. */

import type { Database } from 'better-sqlite3';
import { deliveryWaitMsMax } from '../../base/limits.ts';
import type { Delivery, DeliveryReport, DeliveryState, Notice, Quiet } from '../record.ts';
import { limitOf } from './counts.ts';

export interface Outbox {
  due(now: number, countMax: number, quiet: readonly Quiet[]): readonly Delivery[];
  nextAt(quiet: readonly Quiet[]): number | null;
  ofOutage(outageId: string): readonly DeliveryReport[];
  dead(countMax: number): readonly DeliveryReport[];
  undelivered(channel: string, deadSince: number): readonly DeliveryReport[];
  delivery(noticeId: string, channel: string): DeliveryReport | null;
}

interface Row extends Omit<Notice, 'data' | 'channels'> {
  readonly data: string;
  readonly channels: string;
  readonly key: number;
  readonly channel: string;
  readonly state: DeliveryState;
  readonly attempts: number;
  readonly firstAttemptAt: number | null;
  readonly nextAttemptAt: number;
  readonly foldedInto: string | null;
  readonly fallbackFor: string | null;
}

const columns = `n.id, n.type, n.at_ms AS at, n.service_id AS serviceId, n.outage_id AS outageId,
  n.not_before_ms AS notBefore, n.data,
  (SELECT json_group_array(c.channel ORDER BY c.key) FROM deliveries c WHERE c.notice = n.key) AS channels,
  d.key, d.channel, d.state, d.attempts, d.first_attempt_at_ms AS firstAttemptAt,
  d.next_attempt_at_ms AS nextAttemptAt, d.folded_into AS foldedInto, d.fallback_for AS fallbackFor`;
const joined = `SELECT ${columns} FROM deliveries d JOIN notices n ON n.key = d.notice`;

/**
 * The oldest that waits in each lane: the others wait for it. While a sum waits, the lanes that it sums up wait as well, also
 * where it stands in for another channel's.
 */
const heads = `(
  SELECT min(key) FROM deliveries WHERE state = 'waiting' AND (channel, lane) NOT IN (
    SELECT s.channel, f.lane FROM deliveries s
    JOIN notices t ON t.key = s.notice AND t.type = 'rollcall.digest'
    JOIN deliveries f ON f.folded_into = t.id
    WHERE s.state = 'waiting')
  GROUP BY channel, lane)`;

/** Parameter: a JSON list of `Quiet`. */
const notQuiet = `NOT EXISTS (
  SELECT 1 FROM json_each(?) q WHERE q.value ->> 'channel' = d.channel
    AND n.type NOT IN (SELECT value FROM json_each(q.value, '$.types'))
    AND (n.service_id IS NULL OR
      n.service_id NOT IN (SELECT value FROM json_each(q.value, '$.serviceIds'))))`;

/**
 * What is put off further than anything is on purpose was put there by a clock that has been set back since: it is due.
 * Not what waits for its own `notBefore` by the clock as it is. Parameters: now + 1, and three times the furthest instant.
 */
const isDue = `(d.next_attempt_at_ms NOT BETWEEN ? AND ?
  AND (d.next_attempt_at_ms < ? OR d.next_attempt_at_ms <> n.not_before_ms OR n.at_ms > ?))`;

export function outboxOf(database: Database): Outbox {
  const due = database.prepare<[number, number, number, number, string, number], Row>(
    `${joined} WHERE d.key IN ${heads} AND ${isDue} AND ${notQuiet}
     ORDER BY d.next_attempt_at_ms, d.key LIMIT ?`,
  );
  const next = database.prepare<[string], { at: number | null }>(
    `SELECT min(d.next_attempt_at_ms) AS at FROM deliveries d JOIN notices n ON n.key = d.notice
     WHERE d.key IN ${heads} AND ${notQuiet}`,
  );
  const ofOutage = database.prepare<[string], Row>(
    `${joined} WHERE n.outage_id = ? ORDER BY d.key`,
  );
  const dead = database.prepare<[number], Row>(
    `${joined} WHERE d.state = 'dead' ORDER BY d.key DESC LIMIT ?`,
  );
  const undelivered = database.prepare<[string, string, number], Row>(
    `SELECT * FROM (${joined} WHERE d.state = 'waiting' AND d.channel = ?
       UNION ALL ${joined} WHERE d.state = 'dead' AND d.channel = ? AND n.at_ms >= ?) ORDER BY key`,
  );
  const one = database.prepare<[string, string], Row>(`${joined} WHERE n.id = ? AND d.channel = ?`);
  const reported = reporter(database);

  return {
    due: (now, countMax, quiet) => {
      const far = now + deliveryWaitMsMax;
      return due
        .all(now + 1, far, far, far, JSON.stringify(quiet), limitOf(countMax))
        .map(deliveryFrom);
    },
    nextAt: (quiet) => next.get(JSON.stringify(quiet))?.at ?? null,
    ofOutage: (outageId) => ofOutage.all(outageId).map(reported),
    dead: (countMax) => dead.all(limitOf(countMax)).map(reported),
    undelivered: (channel, deadSince) => undelivered.all(channel, channel, deadSince).map(reported),
    delivery: (noticeId, channel) => {
      const row = one.get(noticeId, channel);
      return row ? reported(row) : null;
    },
  };
}

function reporter(database: Database): (row: Row) => DeliveryReport {
  const attempts = database.prepare<[number], DeliveryReport['attempts'][number]>(
    `SELECT at_ms AS at, took_ms AS tookMs, status, detail
     FROM attempts WHERE delivery = ? ORDER BY key`,
  );
  return (row) => ({
    notice: noticeFrom(row),
    channel: row.channel,
    state: row.state,
    attempts: attempts.all(row.key),
    foldedInto: row.foldedInto,
    fallbackFor: row.fallbackFor,
  });
}

function deliveryFrom(row: Row): Delivery {
  const { channel, attempts, firstAttemptAt, nextAttemptAt, fallbackFor } = row;
  const notice = noticeFrom(row);
  return { notice, channel, attempts, firstAttemptAt, nextAttemptAt, fallbackFor };
}

function noticeFrom({ id, type, at, serviceId, outageId, notBefore, data, channels }: Row): Notice {
  return {
    id,
    type,
    at,
    serviceId,
    outageId,
    notBefore,
    data: JSON.parse(data),
    channels: JSON.parse(channels),
  };
}
