-- The record as tables, for whoever asks SQLite itself (read-only: `sqlite3 'file:record.sqlite3?mode=ro'`), for
-- `secondprobe export` and for `secondprobe push`. One row a record, also of those that were taken back
-- (`is_removed`). Lists and places are JSON. Times are milliseconds since 1970-01-01 UTC. `seq` is the number of the
-- newest change that gave the row a value, `changed_at_ms` when a phone made it.
-- A field that a phone left out has its default; one that is null was said to be nothing.

CREATE VIEW shop_job AS
SELECT
  id,
  coalesce(title, '') AS title,
  coalesce(tray, 'in_hand') AS tray,           -- in_hand, waiting_for_owner, waiting_for_part, ready, gone
  tray_since_ms,
  board_version_id,
  socket,
  coalesce(json_extract(intake, '$.what_happened'), '[]') AS what_happened,
  coalesce(json_extract(intake, '$.symptoms'), '[]') AS symptoms,
  coalesce(json_extract(intake, '$.data_matters'), 'not_asked') AS data_matters,
  coalesce(json_extract(intake, '$.opened_by'), '') AS opened_by,
  coalesce(json_extract(intake, '$.in_their_words'), '') AS in_their_words,
  meter_id,
  air_c,
  reference_board_id,                          -- not null: no owner's job, a healthy board is read
  coalesce(conditions, '[]') AS conditions,
  coalesce(stage, 'before_repair') AS stage,
  coalesce(opened_at_ms, 0) AS opened_at_ms,
  coalesce(note, '') AS note,
  is_removed, removed_why, seq, changed_at_ms
FROM (
  SELECT
    id,
    (SELECT json_extract(value, '$') FROM field WHERE kind = 'job' AND id = one.id AND name = 'title') AS title,
    (SELECT json_extract(value, '$') FROM field WHERE kind = 'job' AND id = one.id AND name = 'tray') AS tray,
    (SELECT CAST(substr(stamp, 1, 15) AS INTEGER) FROM field WHERE kind = 'job' AND id = one.id AND name = 'tray')
      AS tray_since_ms,
    (SELECT json_extract(value, '$') FROM field WHERE kind = 'job' AND id = one.id AND name = 'board_version_id')
      AS board_version_id,
    (SELECT json_extract(value, '$') FROM field WHERE kind = 'job' AND id = one.id AND name = 'socket') AS socket,
    (SELECT value FROM field WHERE kind = 'job' AND id = one.id AND name = 'intake') AS intake,
    (SELECT json_extract(value, '$') FROM field WHERE kind = 'job' AND id = one.id AND name = 'meter_id') AS meter_id,
    (SELECT json_extract(value, '$') FROM field WHERE kind = 'job' AND id = one.id AND name = 'air_c') AS air_c,
    (SELECT json_extract(value, '$') FROM field WHERE kind = 'job' AND id = one.id AND name = 'reference_board_id')
      AS reference_board_id,
    (SELECT value FROM field WHERE kind = 'job' AND id = one.id AND name = 'conditions') AS conditions,
    (SELECT json_extract(value, '$') FROM field WHERE kind = 'job' AND id = one.id AND name = 'stage') AS stage,
    (SELECT json_extract(value, '$') FROM field WHERE kind = 'job' AND id = one.id AND name = 'opened_at_ms')
      AS opened_at_ms,
    (SELECT json_extract(value, '$') FROM field WHERE kind = 'job' AND id = one.id AND name = 'note') AS note,
    EXISTS (SELECT 1 FROM removed WHERE kind = 'job' AND id = one.id) AS is_removed,
    (SELECT why FROM removed WHERE kind = 'job' AND id = one.id) AS removed_why,
    (SELECT max(seq) FROM field WHERE kind = 'job' AND id = one.id) AS seq,
    (SELECT CAST(substr(max(stamp), 1, 15) AS INTEGER) FROM field WHERE kind = 'job' AND id = one.id) AS changed_at_ms
  FROM (SELECT DISTINCT id FROM field WHERE kind = 'job') AS one
);

CREATE VIEW shop_meter AS
SELECT
  id,
  (SELECT json_extract(value, '$') FROM field WHERE kind = 'meter' AND id = one.id AND name = 'name') AS name,
  (SELECT json_extract(value, '$') FROM field WHERE kind = 'meter' AND id = one.id AND name = 'test_current_ma')
    AS test_current_ma,                        -- what diode mode forces; null: nobody has measured it
  (SELECT json_extract(value, '$') FROM field WHERE kind = 'meter' AND id = one.id AND name = 'test_current_sd_pct')
    AS test_current_sd_pct,
  (SELECT json_extract(value, '$') FROM field WHERE kind = 'meter' AND id = one.id AND name = 'open_circuit_mv')
    AS open_circuit_mv,
  (SELECT json_extract(value, '$') FROM field WHERE kind = 'meter' AND id = one.id AND name = 'lead_ohm') AS lead_ohm,
  EXISTS (SELECT 1 FROM removed WHERE kind = 'meter' AND id = one.id) AS is_removed,
  (SELECT why FROM removed WHERE kind = 'meter' AND id = one.id) AS removed_why,
  (SELECT max(seq) FROM field WHERE kind = 'meter' AND id = one.id) AS seq,
  (SELECT CAST(substr(max(stamp), 1, 15) AS INTEGER) FROM field WHERE kind = 'meter' AND id = one.id) AS changed_at_ms
FROM (SELECT DISTINCT id FROM field WHERE kind = 'meter') AS one;

CREATE VIEW shop_reference_board AS
SELECT
  id,
  (SELECT json_extract(value, '$') FROM field WHERE kind = 'reference_board' AND id = one.id
    AND name = 'board_version_id') AS board_version_id,
  coalesce((SELECT json_extract(value, '$') FROM field WHERE kind = 'reference_board' AND id = one.id
    AND name = 'label'), '') AS label,
  coalesce((SELECT json_extract(value, '$') FROM field WHERE kind = 'reference_board' AND id = one.id
    AND name = 'read_at_ms'), 0) AS read_at_ms,
  (SELECT json_extract(value, '$') FROM field WHERE kind = 'reference_board' AND id = one.id AND name = 'air_c')
    AS air_c,
  (SELECT json_extract(value, '$') FROM field WHERE kind = 'reference_board' AND id = one.id
    AND name = 'set_aside_why') AS set_aside_why,
  EXISTS (SELECT 1 FROM removed WHERE kind = 'reference_board' AND id = one.id) AS is_removed,
  (SELECT why FROM removed WHERE kind = 'reference_board' AND id = one.id) AS removed_why,
  (SELECT max(seq) FROM field WHERE kind = 'reference_board' AND id = one.id) AS seq,
  (SELECT CAST(substr(max(stamp), 1, 15) AS INTEGER) FROM field WHERE kind = 'reference_board' AND id = one.id)
    AS changed_at_ms
FROM (SELECT DISTINCT id FROM field WHERE kind = 'reference_board') AS one;

CREATE VIEW shop_board AS
SELECT
  id,
  json_extract(record, '$.device') AS device,
  json_extract(record, '$.board') AS board,
  coalesce(json_extract(record, '$.revision'), '') AS revision,
  coalesce(json_extract(record, '$.made_at_ms'), 0) AS made_at_ms,
  coalesce(json_extract(record, '$.made_by'), '') AS made_by,
  EXISTS (SELECT 1 FROM removed WHERE removed.kind = 'board_version' AND removed.id = fact.id) AS is_removed,
  (SELECT why FROM removed WHERE removed.kind = 'board_version' AND removed.id = fact.id) AS removed_why,
  seq, CAST(substr(stamp, 1, 15) AS INTEGER) AS changed_at_ms
FROM fact WHERE kind = 'board_version';

CREATE VIEW shop_reading AS
SELECT
  id,
  json_extract(record, '$.of.job_id') AS job_id,
  json_extract(record, '$.of.reference_board_id') AS reference_board_id,
  json_extract(record, '$.socket') AS socket,
  json_extract(record, '$.kind') AS kind,      -- drop, ohms, volts, draw
  json_extract(record, '$.touch.contact') AS contact,  -- null: another place, see touch
  json_extract(record, '$.touch') AS touch,
  json_extract(record, '$.as_typed') AS as_typed,
  json_extract(record, '$.display_unit') AS display_unit,
  -- What the text says: null here where the phone left that to the engine; export and push fill it in.
  json_extract(record, '$.value.what') AS value_kind,
  json_extract(record, '$.value.drop_mv') AS drop_mv,
  json_extract(record, '$.value.ohm') AS ohm,
  json_extract(record, '$.value.volts_mv') AS volts_mv,
  json_extract(record, '$.value.draw_ma') AS draw_ma,
  CASE WHEN json_type(record, '$.lead_on_ground') IS NULL THEN 'red' ELSE json_extract(record, '$.lead_on_ground') END
    AS lead_on_ground,
  coalesce(json_extract(record, '$.subject'), 'board_socket') AS subject,
  coalesce(json_extract(record, '$.place'), 'spring') AS place,
  json_extract(record, '$.steadiness') AS steadiness,
  json_extract(record, '$.taken_after_s') AS taken_after_s,
  json_extract(record, '$.meter_id') AS meter_id,
  json_extract(record, '$.air_c') AS air_c,
  coalesce(json_extract(record, '$.conditions'), '[]') AS conditions,
  coalesce(json_extract(record, '$.stage'), 'before_repair') AS stage,
  json_extract(record, '$.taken_at_ms') AS taken_at_ms,
  coalesce(json_extract(record, '$.taken_by'), '') AS taken_by,
  json_extract(record, '$.supersedes') AS supersedes,
  coalesce(json_extract(record, '$.note'), '') AS note,
  EXISTS (SELECT 1 FROM removed WHERE removed.kind = 'reading' AND removed.id = fact.id) AS is_removed,
  (SELECT why FROM removed WHERE removed.kind = 'reading' AND removed.id = fact.id) AS removed_why,
  seq, CAST(substr(stamp, 1, 15) AS INTEGER) AS changed_at_ms
FROM fact WHERE kind = 'reading';

CREATE VIEW shop_observation AS
SELECT
  id,
  json_extract(record, '$.of.job_id') AS job_id,
  json_extract(record, '$.of.reference_board_id') AS reference_board_id,
  json_extract(record, '$.seen') AS seen,
  coalesce(json_extract(record, '$.subject'), 'board_socket') AS subject,
  coalesce(json_extract(record, '$.contacts'), '[]') AS contacts,
  json_extract(record, '$.part') AS part,
  json_extract(record, '$.photo_id') AS photo_id,
  coalesce(json_extract(record, '$.place'), '') AS place,
  json_extract(record, '$.draw_ma') AS draw_ma,
  json_extract(record, '$.limit_ma') AS limit_ma,
  json_extract(record, '$.seen_at_ms') AS seen_at_ms,
  coalesce(json_extract(record, '$.seen_by'), '') AS seen_by,
  coalesce(json_extract(record, '$.note'), '') AS note,
  EXISTS (SELECT 1 FROM removed WHERE removed.kind = 'observation' AND removed.id = fact.id) AS is_removed,
  (SELECT why FROM removed WHERE removed.kind = 'observation' AND removed.id = fact.id) AS removed_why,
  seq, CAST(substr(stamp, 1, 15) AS INTEGER) AS changed_at_ms
FROM fact WHERE kind = 'observation';

CREATE VIEW shop_make_safe AS
SELECT
  id,
  json_extract(record, '$.job_id') AS job_id,
  json_extract(record, '$.step') AS step,
  coalesce(json_extract(record, '$.done'), 0) AS done,
  json_extract(record, '$.measured_mv') AS measured_mv,
  coalesce(json_extract(record, '$.at_place'), '') AS at_place,
  json_extract(record, '$.waived_because') AS waived_because,
  json_extract(record, '$.proved_at_ms') AS proved_at_ms,
  coalesce(json_extract(record, '$.proved_by'), '') AS proved_by,
  EXISTS (SELECT 1 FROM removed WHERE removed.kind = 'make_safe' AND removed.id = fact.id) AS is_removed,
  (SELECT why FROM removed WHERE removed.kind = 'make_safe' AND removed.id = fact.id) AS removed_why,
  seq, CAST(substr(stamp, 1, 15) AS INTEGER) AS changed_at_ms
FROM fact WHERE kind = 'make_safe';

CREATE VIEW shop_photo AS
SELECT
  id,
  json_extract(record, '$.of.job_id') AS job_id,
  json_extract(record, '$.of.reference_board_id') AS reference_board_id,
  json_extract(record, '$.sha256') AS sha256,  -- the picture's file in the folder photos
  json_extract(record, '$.mime') AS mime,
  json_extract(record, '$.size_bytes') AS size_bytes,
  json_extract(record, '$.width_px') AS width_px,
  json_extract(record, '$.height_px') AS height_px,
  json_extract(record, '$.taken_at_ms') AS taken_at_ms,
  json_extract(record, '$.corners') AS corners,
  EXISTS (SELECT 1 FROM removed WHERE removed.kind = 'photo' AND removed.id = fact.id) AS is_removed,
  (SELECT why FROM removed WHERE removed.kind = 'photo' AND removed.id = fact.id) AS removed_why,
  seq, CAST(substr(stamp, 1, 15) AS INTEGER) AS changed_at_ms
FROM fact WHERE kind = 'photo';
