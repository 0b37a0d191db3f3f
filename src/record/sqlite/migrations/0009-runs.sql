-- Runs of jobs. A run is replaced as more of it is told; keys give the order in which they were first heard of.

CREATE TABLE runs (
  key INTEGER PRIMARY KEY,
  job_id TEXT NOT NULL,
  id TEXT NOT NULL,
  at_ms INTEGER NOT NULL, -- when it began; where only its end was told, that
  began_ms INTEGER,
  ended_ms INTEGER,
  exit INTEGER,
  size_bytes INTEGER,
  value REAL,
  unit TEXT,
  tail TEXT, -- null: none was told, or it is no longer kept
  crc INTEGER,
  UNIQUE (job_id, id),
  CHECK (began_ms IS NOT NULL OR ended_ms IS NOT NULL)
) STRICT;
CREATE INDEX runs_in_time ON runs (job_id, at_ms);
CREATE INDEX runs_with_tails ON runs (job_id, at_ms) WHERE tail IS NOT NULL;

CREATE TRIGGER runs_written AFTER INSERT ON runs BEGIN
  UPDATE runs SET crc = row_crc(
    key, job_id, id, at_ms, began_ms, ended_ms, exit, size_bytes, value, unit, tail)
  WHERE key = new.key;
END;
CREATE TRIGGER runs_changed AFTER UPDATE OF
  key, job_id, id, at_ms, began_ms, ended_ms, exit, size_bytes, value, unit, tail
ON runs BEGIN
  UPDATE runs SET crc = row_crc(
    key, job_id, id, at_ms, began_ms, ended_ms, exit, size_bytes, value, unit, tail)
  WHERE key = new.key;
END;
