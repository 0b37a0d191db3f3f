-- What the owner wrote about an outage. Keys give the order of writing.

CREATE TABLE notes (
  key INTEGER PRIMARY KEY,
  outage_id TEXT NOT NULL,
  at_ms INTEGER NOT NULL,
  text TEXT NOT NULL,
  crc INTEGER
) STRICT;
CREATE INDEX notes_of_outage ON notes (outage_id);

CREATE TRIGGER notes_written AFTER INSERT ON notes BEGIN
  UPDATE notes SET crc = row_crc(key, outage_id, at_ms, text)
  WHERE key = new.key;
END;
CREATE TRIGGER notes_changed AFTER UPDATE OF key, outage_id, at_ms, text ON notes BEGIN
  UPDATE notes SET crc = row_crc(key, outage_id, at_ms, text)
  WHERE key = new.key;
END;
