-- Planned windows as they were when they began, and the outages of which somebody said "I know".

CREATE TABLE planned (
  id TEXT PRIMARY KEY,
  name TEXT NOT NULL,
  why TEXT,
  from_ms INTEGER NOT NULL,
  to_ms INTEGER NOT NULL,
  service_ids TEXT CHECK (service_ids IS NULL OR json_valid(service_ids)), -- null: every service
  origin TEXT NOT NULL CHECK (origin IN ('schedule', 'once', 'declared')),
  crc INTEGER
) STRICT, WITHOUT ROWID;
CREATE INDEX planned_in_time ON planned (from_ms);

CREATE TRIGGER planned_written AFTER INSERT ON planned BEGIN
  UPDATE planned SET crc = row_crc(id, name, why, from_ms, to_ms, service_ids, origin)
  WHERE id = new.id;
END;
CREATE TRIGGER planned_changed AFTER UPDATE OF id, name, why, from_ms, to_ms, service_ids, origin ON planned BEGIN
  UPDATE planned SET crc = row_crc(id, name, why, from_ms, to_ms, service_ids, origin)
  WHERE id = new.id;
END;

CREATE TABLE known (
  outage_id TEXT PRIMARY KEY,
  at_ms INTEGER NOT NULL,
  crc INTEGER
) STRICT, WITHOUT ROWID;

CREATE TRIGGER known_written AFTER INSERT ON known BEGIN
  UPDATE known SET crc = row_crc(outage_id, at_ms)
  WHERE outage_id = new.outage_id;
END;
CREATE TRIGGER known_changed AFTER UPDATE OF outage_id, at_ms ON known BEGIN
  UPDATE known SET crc = row_crc(outage_id, at_ms)
  WHERE outage_id = new.outage_id;
END;
