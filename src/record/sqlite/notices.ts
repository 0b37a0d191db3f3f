/** Writes the outbox: what change sets do to notices, and what comes of attempts. Always within a transaction. */
import type { Database } from 'better-sqlite3';
import { attemptDetailCharsMax } from '../../base/limits.ts';
import { cleanText } from '../../base/text.ts';
import type { Attempt, Notice, NoticeEdit } from '../record.ts';

const downType = 'rollcall.service.down';

export interface NoticeEdits {
  apply(edit: NoticeEdit): void;
  /** False: it no longer waits. */
  claim(noticeId: string, channel: string, at: number): boolean;
  /** False: there is no such delivery, or it no longer waits; the attempt is kept all the same. */
  attempted(attempt: Attempt): boolean;
}

export function noticeEditsOn(database: Database): NoticeEdits {
  const add = adder(database);
  const restore = restorer(database, add);
  const fold = database.prepare<[{ into: string; serviceIds: string }]>(foldSql);
  const claim = database.prepare<[number, string, string]>(
    `UPDATE deliveries SET claimed_at_ms = coalesce(claimed_at_ms, ?)
     WHERE state = 'waiting' AND channel = ? AND notice = (SELECT key FROM notices WHERE id = ?)`,
  );
  const attempted = attempter(database);

  return {
    apply: (edit) => {
      switch (edit.kind) {
        case 'add':
          return add(edit.notice, edit.notice.channels);
        case 'fold':
          fold.run({ into: edit.into, serviceIds: JSON.stringify(edit.serviceIds) });
          return;
        case 'restore':
          return restore(edit.outageId, edit.notice);
      }
    },
    claim: (noticeId, channel, at) => claim.run(at, channel, noticeId).changes > 0,
    attempted,
  };
}

/**
 * Only where the channel carries the notice that tells instead: nobody is to hear of neither. Not what belongs to an
 * outage that is over: its end waits behind it, and would be told to somebody who never heard of it.
 */
const foldSql = `
  UPDATE deliveries SET state = 'folded', folded_into = :into
  WHERE state = 'waiting' AND claimed_at_ms IS NULL
    AND notice IN (
      SELECT key FROM notices
      WHERE type IN ('${downType}', 'rollcall.service.degraded') AND id <> :into
        AND service_id IN (SELECT value FROM json_each(:serviceIds))
        AND NOT EXISTS (
          SELECT 1 FROM outages o WHERE o.id = outage_id AND o.restored_at_ms IS NOT NULL))
    AND channel IN (
      SELECT channel FROM deliveries WHERE notice = (SELECT key FROM notices WHERE id = :into))`;

type Add = (notice: Notice, channels: readonly string[]) => void;

function adder(database: Database): Add {
  const addNotice = database.prepare(
    `INSERT INTO notices (id, type, at_ms, service_id, outage_id, not_before_ms, data)
     VALUES (?, ?, ?, ?, ?, ?, ?)`,
  );
  const addDelivery = database.prepare(
    `INSERT INTO deliveries (notice, channel, lane, state, next_attempt_at_ms)
     VALUES (?, ?, ?, 'waiting', ?)`,
  );
  return (notice, channels) => {
    const { id, type, at, serviceId, outageId, notBefore, data } = notice;
    const json = JSON.stringify(data);
    const { lastInsertRowid } = addNotice.run(id, type, at, serviceId, outageId, notBefore, json);
    const lane = outageId ?? serviceId ?? id;
    for (const channel of new Set(channels)) {
      addDelivery.run(lastInsertRowid, channel, lane, notBefore);
    }
  };
}

interface Told {
  readonly key: number;
  readonly channel: string;
  readonly state: string;
  readonly claimedAt: number | null;
  readonly notBefore: number;
}

/** See `NoticeEdit`. Decided for each channel: one may have heard of the outage where another has not. */
function restorer(database: Database, add: Add): (outageId: string, notice: Notice) => void {
  const downs = database.prepare<[string], Told>(
    `SELECT d.key, channel, state, claimed_at_ms AS claimedAt, not_before_ms AS notBefore
     FROM deliveries d JOIN notices n ON n.key = d.notice
     WHERE n.outage_id = ? AND n.type = '${downType}'`,
  );
  const withdraw = database.prepare<[number]>(
    `UPDATE deliveries SET state = 'withdrawn' WHERE key = ?`,
  );
  return (outageId, notice) => {
    const heard = new Set<string>();
    for (const { key, channel, state, claimedAt, notBefore } of downs.all(outageId)) {
      const held = state === 'waiting' && claimedAt === null && notBefore > notice.at;
      if (held) withdraw.run(key);
      else if (state !== 'folded' && state !== 'withdrawn') heard.add(channel);
    }
    const channels = notice.channels.filter((channel) => heard.has(channel));
    if (channels.length > 0) add(notice, channels);
  };
}

function attempter(database: Database): NoticeEdits['attempted'] {
  const find = database.prepare<[string, string], { key: number }>(
    `SELECT d.key FROM deliveries d JOIN notices n ON n.key = d.notice
     WHERE n.id = ? AND d.channel = ?`,
  );
  const addAttempt = database.prepare(
    'INSERT INTO attempts (delivery, at_ms, took_ms, status, detail) VALUES (?, ?, ?, ?, ?)',
  );
  const count = database.prepare(
    `UPDATE deliveries SET attempts = attempts + 1, state = ?,
       first_attempt_at_ms = coalesce(first_attempt_at_ms, ?),
       next_attempt_at_ms = coalesce(?, next_attempt_at_ms)
     WHERE key = ? AND state = 'waiting'`,
  );
  return ({ noticeId, channel, at, tookMs, status, detail, next }) => {
    const delivery = find.get(noticeId, channel);
    if (!delivery) return false;
    addAttempt.run(delivery.key, at, tookMs, status, cleanText(detail, attemptDetailCharsMax));
    const nextAttemptAt = next.state === 'waiting' ? next.nextAttemptAt : null;
    return count.run(next.state, at, nextAttemptAt, delivery.key).changes > 0;
  };
}
