-- When a service first told what it told of itself; null where that was before this was kept.

ALTER TABLE facts ADD COLUMN since_ms INTEGER;

DROP TRIGGER facts_written;
DROP TRIGGER facts_changed;
UPDATE facts SET crc = row_crc(service, number, json, since_ms);
CREATE TRIGGER facts_written AFTER INSERT ON facts BEGIN
  UPDATE facts SET crc = row_crc(service, number, json, since_ms)
  WHERE service = new.service AND number = new.number;
END;
CREATE TRIGGER facts_changed AFTER UPDATE OF service, number, json, since_ms ON facts BEGIN
  UPDATE facts SET crc = row_crc(service, number, json, since_ms)
  WHERE service = new.service AND number = new.number;
END;
