-- What leaves the tail: chunks, and the days that become of them when they are over.

-- The way into the tail is held in memory: it stays short now.
DROP TABLE tail_hours;

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

-- The same of a whole UTC day. Its bytes lie in pieces.
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
  sketches_bytes INTEGER NOT NULL
) STRICT;
CREATE UNIQUE INDEX sealed_days_of_service ON sealed_days (service, day);

-- Piece n of the day with this key has the key 256 × key + n. Short ones, because they fill the pages of the file
-- better than long ones, and the file is meant to grow for years.
CREATE TABLE sealed_pieces (
  key INTEGER PRIMARY KEY,
  bytes BLOB NOT NULL
) STRICT;
