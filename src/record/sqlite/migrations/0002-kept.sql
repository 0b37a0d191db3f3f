-- A few words that a probe must still know after a restart, in place of those before.

CREATE TABLE kept (
  name TEXT PRIMARY KEY,
  words TEXT NOT NULL
) STRICT, WITHOUT ROWID;
