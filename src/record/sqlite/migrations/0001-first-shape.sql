-- The first shape of the record. Instants are milliseconds since the epoch (…_ms), latencies microseconds (…_us).
-- A migration that was ever released is never edited; what changes comes as the next number.

-- The record itself.
CREATE TABLE about (
  only_row INTEGER PRIMARY KEY CHECK (only_row = 1),
  instance_id TEXT NOT NULL
) STRICT;

-- The newest sign of life of the daemon.
CREATE TABLE pulse (
  only_row INTEGER PRIMARY KEY CHECK (only_row = 1),
  wall_ms INTEGER NOT NULL,
  boot_ms REAL NOT NULL,
  boot_id TEXT NOT NULL
) STRICT;

-- Services by a small number, so that a row of the tail stays short.
CREATE TABLE services (
  key INTEGER PRIMARY KEY,
  id TEXT NOT NULL UNIQUE
) STRICT;

-- What a service told of itself, whenever that became something else. Numbered within the service.
CREATE TABLE facts (
  service INTEGER NOT NULL REFERENCES services,
  number INTEGER NOT NULL,
  json TEXT NOT NULL CHECK (json_valid(json)),
  PRIMARY KEY (service, number)
) STRICT, WITHOUT ROWID;

-- Every observation, in the order of writing, only ever appended to. It has no index beside its own order:
-- one would turn each group of rows into writes all over the file. tail_hours leads to a time.
CREATE TABLE tail (
  seq INTEGER PRIMARY KEY,
  service INTEGER NOT NULL REFERENCES services,
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

-- Between which rows of the tail the observations of an hour (of the epoch, by at_ms) lie. Written when an hour
-- begins; what came later is read from the tail itself when the record is opened.
CREATE TABLE tail_hours (
  hour INTEGER PRIMARY KEY,
  first_seq INTEGER NOT NULL,
  last_seq INTEGER NOT NULL
) STRICT;

-- What the judge remembers of a service.
CREATE TABLE memories (
  service INTEGER PRIMARY KEY REFERENCES services,
  json TEXT NOT NULL
) STRICT;

-- A span ends where the next one of its service begins: no end is stored, so none can overlap or leave a hole.
CREATE TABLE spans (
  service INTEGER NOT NULL REFERENCES services,
  from_ms INTEGER NOT NULL,
  earliest_from_ms INTEGER NOT NULL,
  state TEXT NOT NULL CHECK (state IN ('up', 'degraded', 'down', 'unobserved')),
  PRIMARY KEY (service, from_ms)
) STRICT, WITHOUT ROWID;

CREATE TABLE outages (
  id TEXT PRIMARY KEY,
  service INTEGER NOT NULL REFERENCES services,
  last_good_at_ms INTEGER,
  first_failed_at_ms INTEGER NOT NULL,
  confirmed_at_ms INTEGER NOT NULL,
  last_failed_at_ms INTEGER NOT NULL,
  restored_at_ms INTEGER, -- null: it lasts
  reason TEXT NOT NULL,
  detail TEXT NOT NULL,
  hint TEXT,
  cause_id TEXT -- id of a service
) STRICT, WITHOUT ROWID;
CREATE INDEX outages_of_service ON outages (service, first_failed_at_ms);
CREATE INDEX outages_in_time ON outages (first_failed_at_ms);

CREATE TABLE unconfirmed (
  service INTEGER NOT NULL REFERENCES services,
  first_failed_at_ms INTEGER NOT NULL,
  last_good_at_ms INTEGER,
  last_failed_at_ms INTEGER NOT NULL,
  next_good_at_ms INTEGER NOT NULL,
  PRIMARY KEY (service, first_failed_at_ms)
) STRICT, WITHOUT ROWID;

CREATE TABLE disturbances (
  key INTEGER PRIMARY KEY,
  at_ms INTEGER NOT NULL,
  kind TEXT NOT NULL,
  by_ms REAL NOT NULL
) STRICT;
CREATE INDEX disturbances_in_time ON disturbances (at_ms);

-- The outbox: a notice, its delivery to each channel, and every attempt at that. Keys give the order of creation.
CREATE TABLE notices (
  key INTEGER PRIMARY KEY,
  id TEXT NOT NULL UNIQUE,
  type TEXT NOT NULL,
  at_ms INTEGER NOT NULL,
  service_id TEXT,
  outage_id TEXT,
  not_before_ms INTEGER NOT NULL,
  data TEXT NOT NULL CHECK (json_valid(data))
) STRICT;
CREATE INDEX notices_of_outage ON notices (outage_id) WHERE outage_id IS NOT NULL;

CREATE TABLE deliveries (
  key INTEGER PRIMARY KEY,
  notice INTEGER NOT NULL REFERENCES notices,
  channel TEXT NOT NULL,
  lane TEXT NOT NULL, -- within a channel one after the other: the outage, else the service, else the notice itself
  state TEXT NOT NULL CHECK (state IN ('waiting', 'delivered', 'dead', 'folded', 'withdrawn')),
  claimed_at_ms INTEGER, -- since then it can be neither folded nor withdrawn
  first_attempt_at_ms INTEGER,
  next_attempt_at_ms INTEGER NOT NULL,
  attempts INTEGER NOT NULL DEFAULT 0,
  folded_into TEXT, -- id of a notice
  UNIQUE (notice, channel)
) STRICT;
CREATE INDEX deliveries_waiting ON deliveries (channel, lane, key) WHERE state = 'waiting';
CREATE INDEX deliveries_dead ON deliveries (key) WHERE state = 'dead';

CREATE TABLE attempts (
  key INTEGER PRIMARY KEY,
  delivery INTEGER NOT NULL REFERENCES deliveries,
  at_ms INTEGER NOT NULL,
  took_ms REAL NOT NULL,
  status INTEGER,
  detail TEXT NOT NULL
) STRICT;
CREATE INDEX attempts_of_delivery ON attempts (delivery);
