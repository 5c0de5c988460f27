-- Who may ask: phones by the hash of their token, and the codes that pair one more. Neither token nor code is kept.
CREATE TABLE phone (
  id TEXT PRIMARY KEY,
  token_hash BLOB NOT NULL UNIQUE,
  name TEXT NOT NULL,
  technician TEXT NOT NULL,
  role TEXT NOT NULL CHECK (role IN ('owner', 'technician')),
  paired_at_ms INTEGER NOT NULL,
  last_synced_at_ms INTEGER,
  revoked_at_ms INTEGER
) STRICT, WITHOUT ROWID;

CREATE TABLE code (
  code_hash BLOB PRIMARY KEY,
  name TEXT NOT NULL,
  technician TEXT NOT NULL,
  role TEXT NOT NULL CHECK (role IN ('owner', 'technician')),
  expires_at_ms INTEGER NOT NULL,
  used_at_ms INTEGER
) STRICT, WITHOUT ROWID;

-- Every address under which this server has been an app's origin: the app on a phone is known by it.
CREATE TABLE origin (
  url TEXT PRIMARY KEY,
  first_at_ms INTEGER NOT NULL,
  last_at_ms INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
