-- For which channel another one stands in; and what was folded into what, which keeps lanes in order behind a sum.

ALTER TABLE deliveries ADD COLUMN fallback_for TEXT; -- name of a channel; null: its own

CREATE INDEX deliveries_folded ON deliveries (folded_into, channel, lane) WHERE folded_into IS NOT NULL;

DROP TRIGGER deliveries_written;
DROP TRIGGER deliveries_changed;
UPDATE deliveries SET crc = row_crc(
    key, notice, channel, lane, state, claimed_at_ms, first_attempt_at_ms, next_attempt_at_ms,
    attempts, folded_into, fallback_for);
CREATE TRIGGER deliveries_written AFTER INSERT ON deliveries BEGIN
  UPDATE deliveries SET crc = row_crc(
    key, notice, channel, lane, state, claimed_at_ms, first_attempt_at_ms, next_attempt_at_ms,
    attempts, folded_into, fallback_for)
  WHERE key = new.key;
END;
CREATE TRIGGER deliveries_changed AFTER UPDATE OF
  key, notice, channel, lane, state, claimed_at_ms, first_attempt_at_ms, next_attempt_at_ms,
  attempts, folded_into, fallback_for
ON deliveries BEGIN
  UPDATE deliveries SET crc = row_crc(
    key, notice, channel, lane, state, claimed_at_ms, first_attempt_at_ms, next_attempt_at_ms,
    attempts, folded_into, fallback_for)
  WHERE key = new.key;
END;
