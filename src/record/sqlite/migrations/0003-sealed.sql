-- What leaves the tail: chunks, and the days that become of them when they are over.

-- The way into the tail is held in memory: it stays short now. It refers to `services` in words only: SQLite drops the rows
-- of a whole table in next to no time, but not where each may refer to another table (sqlite.org/lang_delete.html, 3).
DROP TABLE tail_hours;
ALTER TABLE tail RENAME TO old_tail;
CREATE TABLE tail (
  seq INTEGER PRIMARY KEY,
  service INTEGER NOT NULL, -- key of `services`
  at_ms INTEGER NOT NULL CHECK (at_ms >= 0),
  outcome INTEGER NOT NULL CHECK (outcome BETWEEN 0 AND 3), -- answered, limited, failed, unproven
  took_us INTEGER NOT NULL,
  facts INTEGER, -- null: none
  resolve_us INTEGER, -- a phase that did not happen is null
  connect_us INTEGER,
  secure_us INTEGER,
  speak_us INTEGER,
  answer_us INTEGER,
  reason TEXT, -- null: nothing was wrong
  detail TEXT,
  hint TEXT -- null: the one that belongs to the reason
) STRICT;
INSERT INTO tail SELECT * FROM old_tail;
DROP TABLE old_tail;

-- How far the tail of each service has become chunks, and the last row that did, as it was. A row of the tail at or
-- before it is no longer part of the record: it only waits to be deleted.
CREATE TABLE moved (
  service INTEGER PRIMARY KEY REFERENCES services,
  seq INTEGER NOT NULL,
  at_ms INTEGER NOT NULL,
  outcome INTEGER NOT NULL,
  took_us INTEGER NOT NULL,
  facts INTEGER,
  resolve_us INTEGER,
  connect_us INTEGER,
  secure_us INTEGER,
  speak_us INTEGER,
  answer_us INTEGER,
  reason TEXT,
  detail TEXT,
  hint TEXT
) STRICT;

-- Observations of one service within one UTC day (counted from the epoch), as a block of columns. They came in the
-- order of the keys. Apart from the sealed days, so that what is deleted here leaves whole pages free.
CREATE TABLE chunks (
  key INTEGER PRIMARY KEY,
  service INTEGER NOT NULL REFERENCES services,
  day INTEGER NOT NULL,
  first_at_ms INTEGER NOT NULL,
  last_at_ms INTEGER NOT NULL,
  answered INTEGER NOT NULL,
  limited INTEGER NOT NULL,
  failed INTEGER NOT NULL,
  unproven INTEGER NOT NULL,
  least_facts INTEGER, -- the least number of facts in it; null: none
  columns_crc INTEGER NOT NULL, -- of the columns
  crc INTEGER NOT NULL, -- of everything else
  sketches_bytes INTEGER NOT NULL, -- so many of the bytes are sketches; the columns follow
  bytes BLOB NOT NULL
) STRICT;
CREATE INDEX chunks_of_service ON chunks (service, day);

-- The same of a whole UTC day. Days that were sealed together share a volume: that of a day is its key divided by 256.
CREATE TABLE sealed_days (
  key INTEGER PRIMARY KEY,
  service INTEGER NOT NULL REFERENCES services,
  day INTEGER NOT NULL,
  first_at_ms INTEGER NOT NULL,
  last_at_ms INTEGER NOT NULL,
  answered INTEGER NOT NULL,
  limited INTEGER NOT NULL,
  failed INTEGER NOT NULL,
  unproven INTEGER NOT NULL,
  least_facts INTEGER,
  columns_crc INTEGER NOT NULL,
  crc INTEGER NOT NULL,
  sketches_bytes INTEGER NOT NULL,
  first_byte INTEGER NOT NULL, -- where its bytes lie in the volume
  bytes_count INTEGER NOT NULL
) STRICT;
CREATE UNIQUE INDEX sealed_days_of_service ON sealed_days (service, day);

-- The bytes of volumes, in pieces of such a length that they fill the pages of the file, which is meant to grow for years.
-- Piece n of a volume has the key 2^20 × volume + n.
CREATE TABLE sealed_pieces (
  key INTEGER PRIMARY KEY,
  bytes BLOB NOT NULL
) STRICT;
