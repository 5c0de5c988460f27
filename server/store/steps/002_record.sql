-- What the log adds up to. Every row can be made again from the log.
-- `stamp` is "hlc device change-id": compared as bytes it orders as the three compare one by one,
-- since a space is below every character that an id may hold.
CREATE TABLE fact (
  kind TEXT NOT NULL,
  id TEXT NOT NULL,
  record TEXT NOT NULL,
  stamp TEXT NOT NULL,
  seq INTEGER NOT NULL REFERENCES change (seq),
  -- What the fact belongs to: a job, a reference board, or a version of a board.
  owner TEXT GENERATED ALWAYS AS (coalesce(
    json_extract(record, '$.of.job_id'), json_extract(record, '$.of.reference_board_id'),
    json_extract(record, '$.job_id'), json_extract(record, '$.board_version_id')
  )) STORED,
  PRIMARY KEY (kind, id)
) STRICT, WITHOUT ROWID;

CREATE INDEX fact_of_owner ON fact (owner, kind);

CREATE TABLE field (
  kind TEXT NOT NULL,
  id TEXT NOT NULL,
  name TEXT NOT NULL,
  value TEXT NOT NULL,
  stamp TEXT NOT NULL,
  seq INTEGER NOT NULL REFERENCES change (seq),
  PRIMARY KEY (kind, id, name)
) STRICT, WITHOUT ROWID;

CREATE TABLE removed (
  kind TEXT NOT NULL,
  id TEXT NOT NULL,
  why TEXT NOT NULL,
  stamp TEXT NOT NULL,
  seq INTEGER NOT NULL REFERENCES change (seq),
  PRIMARY KEY (kind, id)
) STRICT, WITHOUT ROWID;

-- What anybody may see: removal wins, whatever came first.
CREATE VIEW visible_fact AS
  SELECT * FROM fact WHERE NOT EXISTS (SELECT 1 FROM removed WHERE removed.kind = fact.kind AND removed.id = fact.id);

CREATE VIEW visible_field AS
  SELECT * FROM field WHERE NOT EXISTS (SELECT 1 FROM removed WHERE removed.kind = field.kind AND removed.id = field.id);
