-- The log of changes: what devices sent, as they sent it, numbered by this server.
-- AUTOINCREMENT: a number once handed out is never given again, so a cursor never skips.
CREATE TABLE change (
  seq INTEGER PRIMARY KEY AUTOINCREMENT,
  id TEXT NOT NULL UNIQUE,
  device TEXT NOT NULL,
  device_seq INTEGER NOT NULL,
  hlc TEXT NOT NULL,
  actor TEXT NOT NULL,
  v INTEGER NOT NULL,
  body BLOB NOT NULL,
  applied INTEGER NOT NULL DEFAULT 0 CHECK (applied IN (0, 1)),
  UNIQUE (device, device_seq)
) STRICT;

-- The few that wait: made by a newer app, or older than the tables below them.
CREATE INDEX change_waiting ON change (seq) WHERE applied = 0;

-- Which record this is: made once. A device that meets another epoch sends all its changes again.
CREATE TABLE server (
  only_row INTEGER PRIMARY KEY CHECK (only_row = 1),
  epoch TEXT NOT NULL,
  made_at_ms INTEGER NOT NULL
) STRICT;
