/** Reads the outbox: what may be sent now, and what became of what was. */

import type { Database } from 'better-sqlite3';
import { deliveryWaitMsMax } from '../../base/limits.ts';
import type { Delivery, DeliveryReport, DeliveryState, Notice } from '../record.ts';
import { limitOf } from './counts.ts';

export interface Outbox {
  due(now: number, countMax: number): readonly Delivery[];
  nextAt(): number | null;
  ofOutage(outageId: string): readonly DeliveryReport[];
  dead(countMax: number): readonly DeliveryReport[];
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
}

const columns = `n.id, n.type, n.at_ms AS at, n.service_id AS serviceId, n.outage_id AS outageId,
  n.not_before_ms AS notBefore, n.data,
  (SELECT json_group_array(c.channel ORDER BY c.key) FROM deliveries c WHERE c.notice = n.key) AS channels,
  d.key, d.channel, d.state, d.attempts, d.first_attempt_at_ms AS firstAttemptAt,
  d.next_attempt_at_ms AS nextAttemptAt, d.folded_into AS foldedInto`;
const joined = `SELECT ${columns} FROM deliveries d JOIN notices n ON n.key = d.notice`;

/** The oldest that waits in each lane: the others wait for it. */
const heads = `(SELECT min(key) FROM deliveries WHERE state = 'waiting' GROUP BY channel, lane)`;

export function outboxOf(database: Database): Outbox {
  const due = database.prepare<[number, number, number], Row>(
    `${joined} WHERE d.key IN ${heads} AND d.next_attempt_at_ms NOT BETWEEN ? AND ?
     ORDER BY d.next_attempt_at_ms, d.key LIMIT ?`,
  );
  const next = database.prepare<[], { at: number | null }>(
    `SELECT min(next_attempt_at_ms) AS at FROM deliveries WHERE key IN ${heads}`,
  );
  const ofOutage = database.prepare<[string], Row>(
    `${joined} WHERE n.outage_id = ? ORDER BY d.key`,
  );
  const dead = database.prepare<[number], Row>(
    `${joined} WHERE d.state = 'dead' ORDER BY d.key DESC LIMIT ?`,
  );
  const reported = reporter(database);

  return {
    due: (now, countMax) =>
      due.all(now + 1, now + deliveryWaitMsMax, limitOf(countMax)).map(deliveryFrom),
    nextAt: () => next.get()?.at ?? null,
    ofOutage: (outageId) => ofOutage.all(outageId).map(reported),
    dead: (countMax) => dead.all(limitOf(countMax)).map(reported),
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
  });
}

function deliveryFrom(row: Row): Delivery {
  const { channel, attempts, firstAttemptAt, nextAttemptAt } = row;
  return { notice: noticeFrom(row), channel, attempts, firstAttemptAt, nextAttemptAt };
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
