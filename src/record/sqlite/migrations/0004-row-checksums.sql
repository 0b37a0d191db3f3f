-- A checksum in every row, kept by triggers: see row-checksums.ts. A row that was written before has none until it changes;
-- the small tables are given theirs here.

-- The shape that the record is in, beside the file's own `user_version`: a damaged header shows.
ALTER TABLE about ADD COLUMN shape INTEGER;

ALTER TABLE tail ADD COLUMN crc INTEGER;

ALTER TABLE about ADD COLUMN crc INTEGER;
UPDATE about SET crc = row_crc(only_row, instance_id, shape);
CREATE TRIGGER about_written AFTER INSERT ON about BEGIN
  UPDATE about SET crc = row_crc(only_row, instance_id, shape)
  WHERE only_row = new.only_row;
END;
CREATE TRIGGER about_changed AFTER UPDATE OF only_row, instance_id, shape ON about BEGIN
  UPDATE about SET crc = row_crc(only_row, instance_id, shape)
  WHERE only_row = new.only_row;
END;

ALTER TABLE services ADD COLUMN crc INTEGER;
UPDATE services SET crc = row_crc(key, id);
CREATE TRIGGER services_written AFTER INSERT ON services BEGIN
  UPDATE services SET crc = row_crc(key, id)
  WHERE key = new.key;
END;
CREATE TRIGGER services_changed AFTER UPDATE OF key, id ON services BEGIN
  UPDATE services SET crc = row_crc(key, id)
  WHERE key = new.key;
END;

ALTER TABLE pulse ADD COLUMN crc INTEGER;
UPDATE pulse SET crc = row_crc(only_row, wall_ms, boot_ms, boot_id);
CREATE TRIGGER pulse_written AFTER INSERT ON pulse BEGIN
  UPDATE pulse SET crc = row_crc(only_row, wall_ms, boot_ms, boot_id)
  WHERE only_row = new.only_row;
END;
CREATE TRIGGER pulse_changed AFTER UPDATE OF only_row, wall_ms, boot_ms, boot_id ON pulse BEGIN
  UPDATE pulse SET crc = row_crc(only_row, wall_ms, boot_ms, boot_id)
  WHERE only_row = new.only_row;
END;

ALTER TABLE memories ADD COLUMN crc INTEGER;
UPDATE memories SET crc = row_crc(service, json);
CREATE TRIGGER memories_written AFTER INSERT ON memories BEGIN
  UPDATE memories SET crc = row_crc(service, json)
  WHERE service = new.service;
END;
CREATE TRIGGER memories_changed AFTER UPDATE OF service, json ON memories BEGIN
  UPDATE memories SET crc = row_crc(service, json)
  WHERE service = new.service;
END;

ALTER TABLE spans ADD COLUMN crc INTEGER;
UPDATE spans SET crc = row_crc(service, from_ms, earliest_from_ms, state);
CREATE TRIGGER spans_written AFTER INSERT ON spans BEGIN
  UPDATE spans SET crc = row_crc(service, from_ms, earliest_from_ms, state)
  WHERE service = new.service AND from_ms = new.from_ms;
END;
CREATE TRIGGER spans_changed AFTER UPDATE OF
  service, from_ms, earliest_from_ms, state
ON spans BEGIN
  UPDATE spans SET crc = row_crc(service, from_ms, earliest_from_ms, state)
  WHERE service = new.service AND from_ms = new.from_ms;
END;

ALTER TABLE outages ADD COLUMN crc INTEGER;
UPDATE outages SET crc = row_crc(
    id, service, last_good_at_ms, first_failed_at_ms, confirmed_at_ms, last_failed_at_ms,
    restored_at_ms, reason, detail, hint, cause_id);
CREATE TRIGGER outages_written AFTER INSERT ON outages BEGIN
  UPDATE outages SET crc = row_crc(
    id, service, last_good_at_ms, first_failed_at_ms, confirmed_at_ms, last_failed_at_ms,
    restored_at_ms, reason, detail, hint, cause_id)
  WHERE id = new.id;
END;
CREATE TRIGGER outages_changed AFTER UPDATE OF
  id, service, last_good_at_ms, first_failed_at_ms, confirmed_at_ms, last_failed_at_ms,
  restored_at_ms, reason, detail, hint, cause_id
ON outages BEGIN
  UPDATE outages SET crc = row_crc(
    id, service, last_good_at_ms, first_failed_at_ms, confirmed_at_ms, last_failed_at_ms,
    restored_at_ms, reason, detail, hint, cause_id)
  WHERE id = new.id;
END;

ALTER TABLE unconfirmed ADD COLUMN crc INTEGER;
UPDATE unconfirmed SET crc = row_crc(
    service, first_failed_at_ms, last_good_at_ms, last_failed_at_ms, next_good_at_ms);
CREATE TRIGGER unconfirmed_written AFTER INSERT ON unconfirmed BEGIN
  UPDATE unconfirmed SET crc = row_crc(
    service, first_failed_at_ms, last_good_at_ms, last_failed_at_ms, next_good_at_ms)
  WHERE service = new.service AND first_failed_at_ms = new.first_failed_at_ms;
END;
CREATE TRIGGER unconfirmed_changed AFTER UPDATE OF
  service, first_failed_at_ms, last_good_at_ms, last_failed_at_ms, next_good_at_ms
ON unconfirmed BEGIN
  UPDATE unconfirmed SET crc = row_crc(
    service, first_failed_at_ms, last_good_at_ms, last_failed_at_ms, next_good_at_ms)
  WHERE service = new.service AND first_failed_at_ms = new.first_failed_at_ms;
END;

ALTER TABLE disturbances ADD COLUMN crc INTEGER;
UPDATE disturbances SET crc = row_crc(key, at_ms, kind, by_ms);
CREATE TRIGGER disturbances_written AFTER INSERT ON disturbances BEGIN
  UPDATE disturbances SET crc = row_crc(key, at_ms, kind, by_ms)
  WHERE key = new.key;
END;
CREATE TRIGGER disturbances_changed AFTER UPDATE OF key, at_ms, kind, by_ms ON disturbances BEGIN
  UPDATE disturbances SET crc = row_crc(key, at_ms, kind, by_ms)
  WHERE key = new.key;
END;

ALTER TABLE kept ADD COLUMN crc INTEGER;
UPDATE kept SET crc = row_crc(name, words);
CREATE TRIGGER kept_written AFTER INSERT ON kept BEGIN
  UPDATE kept SET crc = row_crc(name, words)
  WHERE name = new.name;
END;
CREATE TRIGGER kept_changed AFTER UPDATE OF name, words ON kept BEGIN
  UPDATE kept SET crc = row_crc(name, words)
  WHERE name = new.name;
END;

ALTER TABLE facts ADD COLUMN crc INTEGER;
UPDATE facts SET crc = row_crc(service, number, json);
CREATE TRIGGER facts_written AFTER INSERT ON facts BEGIN
  UPDATE facts SET crc = row_crc(service, number, json)
  WHERE service = new.service AND number = new.number;
END;
CREATE TRIGGER facts_changed AFTER UPDATE OF service, number, json ON facts BEGIN
  UPDATE facts SET crc = row_crc(service, number, json)
  WHERE service = new.service AND number = new.number;
END;

ALTER TABLE notices ADD COLUMN crc INTEGER;
UPDATE notices SET crc = row_crc(key, id, type, at_ms, service_id, outage_id, not_before_ms, data);
CREATE TRIGGER notices_written AFTER INSERT ON notices BEGIN
  UPDATE notices SET crc = row_crc(key, id, type, at_ms, service_id, outage_id, not_before_ms, data)
  WHERE key = new.key;
END;
CREATE TRIGGER notices_changed AFTER UPDATE OF
  key, id, type, at_ms, service_id, outage_id, not_before_ms, data
ON notices BEGIN
  UPDATE notices SET crc = row_crc(key, id, type, at_ms, service_id, outage_id, not_before_ms, data)
  WHERE key = new.key;
END;

ALTER TABLE deliveries ADD COLUMN crc INTEGER;
UPDATE deliveries SET crc = row_crc(
    key, notice, channel, lane, state, claimed_at_ms, first_attempt_at_ms, next_attempt_at_ms,
    attempts, folded_into);
CREATE TRIGGER deliveries_written AFTER INSERT ON deliveries BEGIN
  UPDATE deliveries SET crc = row_crc(
    key, notice, channel, lane, state, claimed_at_ms, first_attempt_at_ms, next_attempt_at_ms,
    attempts, folded_into)
  WHERE key = new.key;
END;
CREATE TRIGGER deliveries_changed AFTER UPDATE OF
  key, notice, channel, lane, state, claimed_at_ms, first_attempt_at_ms, next_attempt_at_ms,
  attempts, folded_into
ON deliveries BEGIN
  UPDATE deliveries SET crc = row_crc(
    key, notice, channel, lane, state, claimed_at_ms, first_attempt_at_ms, next_attempt_at_ms,
    attempts, folded_into)
  WHERE key = new.key;
END;

ALTER TABLE attempts ADD COLUMN crc INTEGER;
UPDATE attempts SET crc = row_crc(key, delivery, at_ms, took_ms, status, detail);
CREATE TRIGGER attempts_written AFTER INSERT ON attempts BEGIN
  UPDATE attempts SET crc = row_crc(key, delivery, at_ms, took_ms, status, detail)
  WHERE key = new.key;
END;
CREATE TRIGGER attempts_changed AFTER UPDATE OF
  key, delivery, at_ms, took_ms, status, detail
ON attempts BEGIN
  UPDATE attempts SET crc = row_crc(key, delivery, at_ms, took_ms, status, detail)
  WHERE key = new.key;
END;

ALTER TABLE moved ADD COLUMN crc INTEGER;
UPDATE moved SET crc = row_crc(
    service, seq, at_ms, outcome, took_us, facts, resolve_us, connect_us, secure_us, speak_us,
    answer_us, reason, detail, hint);
CREATE TRIGGER moved_written AFTER INSERT ON moved BEGIN
  UPDATE moved SET crc = row_crc(
    service, seq, at_ms, outcome, took_us, facts, resolve_us, connect_us, secure_us, speak_us,
    answer_us, reason, detail, hint)
  WHERE service = new.service;
END;
CREATE TRIGGER moved_changed AFTER UPDATE OF
  service, seq, at_ms, outcome, took_us, facts, resolve_us, connect_us, secure_us, speak_us,
  answer_us, reason, detail, hint
ON moved BEGIN
  UPDATE moved SET crc = row_crc(
    service, seq, at_ms, outcome, took_us, facts, resolve_us, connect_us, secure_us, speak_us,
    answer_us, reason, detail, hint)
  WHERE service = new.service;
END;
