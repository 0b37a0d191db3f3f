/** Writes the outbox: what change sets do to notices, and what comes of attempts. Always within a transaction. */
import type { Database } from 'better-sqlite3';
import { attemptDetailCharsMax } from '../../base/limits.ts';
import { downTypes, outageTypes } from '../../base/notice-types.ts';
import { cleanText } from '../../base/text.ts';
import type { Attempt, Notice, NoticeEdit } from '../record.ts';
import { heardOn, type Knowing, knowingOn, laneOf, wasHeard } from './unsteady.ts';

export interface NoticeEdits {
  apply(edit: NoticeEdit): void;
  /** False: it no longer waits. */
  claim(noticeId: string, channel: string, at: number): boolean;
  /** False: there is no such delivery, or it no longer waits; the attempt is kept all the same. */
  attempted(attempt: Attempt): boolean;
}

export function noticeEditsOn(database: Database): NoticeEdits {
  const add = adder(database);
  const knowing = knowingOn(database);
  const restore = restorer(database, add, knowing);
  const fold = folder(database, knowing);
  const sum = summer(database, add);
  const hold = holder(database);
  const divert = database.prepare<[Omit<NoticeEdit & { kind: 'divert' }, 'kind'>]>(divertSql);
  const claim = database.prepare<[number, string, string]>(
    `UPDATE deliveries SET claimed_at_ms = coalesce(claimed_at_ms, ?)
     WHERE state = 'waiting' AND channel = ? AND notice = (SELECT key FROM notices WHERE id = ?)`,
  );
  const attempted = attempter(database);
  const hearersOf = hearersIn(database);
  const addWhere = ({ notice, unsteadyKnown, ifUnheard }: NoticeEdit & { kind: 'add' }): void => {
    const among =
      unsteadyKnown === undefined
        ? notice.channels
        : knowing(notice.serviceId).among(notice.channels, unsteadyKnown);
    const heard = ifUnheard ? hearersOf(notice.outageId) : [];
    const channels = among.filter((name) => !heard.includes(name));
    const isAsked = unsteadyKnown !== undefined || ifUnheard;
    if (!isAsked || channels.length > 0) add(notice, channels);
  };

  return {
    apply: (edit) => {
      switch (edit.kind) {
        case 'add':
          return addWhere(edit);
        case 'fold':
          return fold(edit);
        case 'restore':
          return restore(edit);
        case 'sum':
          return sum(edit);
        case 'divert':
          divert.run(edit);
          return;
        case 'hold':
          return hold(edit);
      }
    },
    claim: (noticeId, channel, at) => claim.run(at, channel, noticeId).changes > 0,
    attempted,
  };
}

/** On which channels the beginning of an outage was told, or waits to be. */
function hearersIn(database: Database): (outageId: string | null) => readonly string[] {
  const words = database.prepare<[string | null], Pick<Told, 'channel' | 'state' | 'toldBy'>>(
    `SELECT d.channel, d.state, s.type AS toldBy
     FROM notices n JOIN deliveries d ON d.notice = n.key LEFT JOIN notices s ON s.id = d.folded_into
     WHERE n.outage_id = ? AND n.type IN (${listed(outageTypes)})`,
  );
  return (outageId) =>
    words
      .all(outageId)
      .filter(wasHeard)
      .map(({ channel }) => channel);
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
      WHERE type IN (${listed([...downTypes, 'rollcall.service.degraded'])}) AND id <> :into
        AND service_id IN (SELECT value FROM json_each(:serviceIds))
        AND NOT EXISTS (
          SELECT 1 FROM outages o WHERE o.id = outage_id AND o.restored_at_ms IS NOT NULL))`;

type KnowingOf = (serviceId: string | null) => Knowing;

function folder(
  database: Database,
  knowing: KnowingOf,
): (edit: NoticeEdit & { kind: 'fold' }) => void {
  type Given = { into: string; serviceIds: string };
  const fold = database.prepare<[Given]>(
    `${foldSql} AND channel IN (
       SELECT channel FROM deliveries WHERE notice = (SELECT key FROM notices WHERE id = :into))`,
  );
  const foldOn = database.prepare<[Given & { channel: string }]>(
    `${foldSql} AND channel = :channel`,
  );
  return ({ serviceIds: ids, into }) => {
    const serviceIds = JSON.stringify(ids);
    if (typeof into === 'string') {
      fold.run({ into, serviceIds });
      return;
    }
    for (const { channel, noticeId } of knowing(into.unsteady).words) {
      foldOn.run({ into: noticeId, serviceIds, channel });
    }
  };
}

const divertSql = `
  INSERT OR IGNORE INTO deliveries (notice, channel, lane, state, next_attempt_at_ms, fallback_for)
  SELECT notice, :to, lane, 'waiting', :at, :from FROM deliveries
  WHERE channel = :from AND state IN ('waiting', 'dead')
    AND notice = (SELECT key FROM notices WHERE id = :noticeId)`;

/** Where nothing of it waits any more there is nothing to sum up. */
function summer(database: Database, add: Add): (edit: NoticeEdit & { kind: 'sum' }) => void {
  const fold = database.prepare<[{ into: string; channel: string; noticeIds: string }]>(
    `UPDATE deliveries SET state = 'folded', folded_into = :into
     WHERE state = 'waiting' AND channel = :channel AND notice IN (
       SELECT key FROM notices WHERE id IN (SELECT value FROM json_each(:noticeIds)))`,
  );
  return ({ channel, noticeIds, notice }) => {
    const given = { into: notice.id, channel, noticeIds: JSON.stringify(noticeIds) };
    if (fold.run(given).changes > 0) add(notice, [channel]);
  };
}

function holder(database: Database): (edit: NoticeEdit & { kind: 'hold' }) => void {
  const held = `type IN (${listed(downTypes)}) AND not_before_ms = :from
    AND service_id IN (SELECT value FROM json_each(:serviceIds))`;
  const isWaiting = `state = 'waiting' AND claimed_at_ms IS NULL AND next_attempt_at_ms = :from`;
  type Held = { serviceIds: string; from: number; to: number };
  const later = database.prepare<[Held]>(
    `UPDATE deliveries SET next_attempt_at_ms = :to
     WHERE ${isWaiting} AND notice IN (SELECT key FROM notices WHERE ${held})`,
  );
  // After its deliveries: by this instant they are found.
  const until = database.prepare<[Held]>(`UPDATE notices SET not_before_ms = :to WHERE ${held}`);
  return ({ serviceIds, from, to }) => {
    const given = { serviceIds: JSON.stringify(serviceIds), from, to };
    later.run(given);
    until.run(given);
  };
}

/** Of our own words: there is nothing to escape. */
function listed(types: readonly string[]): string {
  return types.map((type) => `'${type}'`).join(', ');
}

/** `lanes`: of those channels on which it is not the notice's own. */
type Add = (
  notice: Notice,
  channels: readonly string[],
  lanes?: ReadonlyMap<string, string>,
) => void;

function adder(database: Database): Add {
  const addNotice = database.prepare(
    `INSERT INTO notices (id, type, at_ms, service_id, outage_id, not_before_ms, data)
     VALUES (?, ?, ?, ?, ?, ?, ?)`,
  );
  const addDelivery = database.prepare(
    `INSERT INTO deliveries (notice, channel, lane, state, next_attempt_at_ms)
     VALUES (?, ?, ?, 'waiting', ?)`,
  );
  return (notice, channels, lanes) => {
    const { id, type, at, serviceId, outageId, notBefore, data } = notice;
    const json = JSON.stringify(data);
    const { lastInsertRowid } = addNotice.run(id, type, at, serviceId, outageId, notBefore, json);
    for (const channel of new Set(channels)) {
      const lane = lanes?.get(channel) ?? laneOf(notice);
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
  readonly fallbackFor: string | null;
  readonly type: string;
  readonly lane: string;
  /** Type of the notice that it was folded into. */
  readonly toldBy: string | null;
}

/**
 * See `NoticeEdit`. Decided for each channel: one may have heard of the outage where another has not. The end of it waits
 * behind what was told of it last.
 */
function restorer(
  database: Database,
  add: Add,
  knowing: KnowingOf,
): (edit: NoticeEdit & { kind: 'restore' }) => void {
  const downs = database.prepare<[string], Told>(
    `SELECT d.key, channel, state, claimed_at_ms AS claimedAt, n.not_before_ms AS notBefore,
       fallback_for AS fallbackFor, lane, n.type, s.type AS toldBy
     FROM deliveries d JOIN notices n ON n.key = d.notice LEFT JOIN notices s ON s.id = d.folded_into
     WHERE n.outage_id = ? AND n.type IN (${listed(outageTypes)}) ORDER BY d.key`,
  );
  // Where a sum that told of it went out on another channel.
  const sums = database.prepare<[string], Pick<Told, 'channel' | 'fallbackFor' | 'lane'>>(
    `SELECT f.channel, f.fallback_for AS fallbackFor, d.lane
     FROM notices n JOIN deliveries d ON d.notice = n.key JOIN notices s ON s.id = d.folded_into
       JOIN deliveries f ON f.notice = s.key AND f.fallback_for IS NOT NULL
     WHERE n.outage_id = ? AND n.type IN (${listed(outageTypes)}) AND s.type = 'rollcall.digest'
     ORDER BY f.key`,
  );
  const withdraw = database.prepare<[number]>(
    `UPDATE deliveries SET state = 'withdrawn' WHERE key = ?`,
  );
  return ({ outageId, notice, unsteadyKnown }) => {
    const heard: Pick<Told, 'channel' | 'fallbackFor' | 'lane'>[] = [];
    for (const told of downs.all(outageId)) {
      const held = told.state === 'waiting' && told.claimedAt === null;
      if (held && told.notBefore > notice.at && downTypes.includes(told.type)) {
        withdraw.run(told.key);
      } else if (wasHeard(told)) heard.push(told);
    }
    heard.push(...sums.all(outageId));
    const hearing = heardOn(heard, notice.channels);
    const channels =
      unsteadyKnown === undefined
        ? hearing
        : knowing(notice.serviceId).among(hearing, unsteadyKnown);
    const lanes = new Map(heard.map(({ channel, lane }) => [channel, lane]));
    if (channels.length > 0) add(notice, channels, lanes);
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
