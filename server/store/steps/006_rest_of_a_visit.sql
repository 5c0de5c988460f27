-- The rest of a visit as tables: see 005. Signatures stay in the record and are in no view.

DROP VIEW shop_job;

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
  is_removed, removed_why, seq, changed_at_ms,
  limit_cost,
  limit_work_min,
  coalesce(storage, 'not_known') AS storage,
  coalesce(data_set, 'not_known') AS data_set
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
    (SELECT json_extract(value, '$') FROM field WHERE kind = 'job' AND id = one.id AND name = 'limit_cost')
      AS limit_cost,
    (SELECT json_extract(value, '$') FROM field WHERE kind = 'job' AND id = one.id AND name = 'limit_work_min')
      AS limit_work_min,
    (SELECT json_extract(value, '$') FROM field WHERE kind = 'job' AND id = one.id AND name = 'storage')
      AS storage,
    (SELECT json_extract(value, '$') FROM field WHERE kind = 'job' AND id = one.id AND name = 'data_set')
      AS data_set,
    EXISTS (SELECT 1 FROM removed WHERE kind = 'job' AND id = one.id) AS is_removed,
    (SELECT why FROM removed WHERE kind = 'job' AND id = one.id) AS removed_why,
    (SELECT max(seq) FROM field WHERE kind = 'job' AND id = one.id) AS seq,
    (SELECT CAST(substr(max(stamp), 1, 15) AS INTEGER) FROM field WHERE kind = 'job' AND id = one.id) AS changed_at_ms
  FROM (SELECT DISTINCT id FROM field WHERE kind = 'job') AS one
);

DROP VIEW shop_observation;

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
  seq, CAST(substr(stamp, 1, 15) AS INTEGER) AS changed_at_ms,
  json_extract(record, '$.supply_mv') AS supply_mv
FROM fact WHERE kind = 'observation';

CREATE VIEW shop_power_check AS
SELECT
  id,
  json_extract(record, '$.job_id') AS job_id,
  json_extract(record, '$.check') AS "check",
  coalesce(json_extract(record, '$.done'), 0) AS done,
  json_extract(record, '$.limit_ma') AS limit_ma,
  json_extract(record, '$.expected_ma') AS expected_ma,
  json_extract(record, '$.supply_mv') AS supply_mv,
  coalesce(json_extract(record, '$.who'), '') AS who,
  coalesce(json_extract(record, '$.note'), '') AS note,
  json_extract(record, '$.waived_because') AS waived_because,
  json_extract(record, '$.checked_at_ms') AS checked_at_ms,
  coalesce(json_extract(record, '$.checked_by'), '') AS checked_by,
  EXISTS (SELECT 1 FROM removed WHERE removed.kind = 'power_check' AND removed.id = fact.id) AS is_removed,
  (SELECT why FROM removed WHERE removed.kind = 'power_check' AND removed.id = fact.id) AS removed_why,
  seq, CAST(substr(stamp, 1, 15) AS INTEGER) AS changed_at_ms
FROM fact WHERE kind = 'power_check';

CREATE VIEW shop_rail_point AS
SELECT
  id,
  json_extract(record, '$.job_id') AS job_id,
  json_extract(record, '$.rail') AS rail,
  json_extract(record, '$.place') AS place,
  json_extract(record, '$.mv') AS mv,
  json_extract(record, '$.along_squares') AS along_squares,
  json_extract(record, '$.x_mm') AS x_mm,
  json_extract(record, '$.y_mm') AS y_mm,
  json_extract(record, '$.injected_mv') AS injected_mv,
  json_extract(record, '$.injected_ma') AS injected_ma,
  coalesce(json_extract(record, '$.return_at'), '') AS return_at,
  coalesce(json_extract(record, '$.is_injection'), 0) AS is_injection,
  coalesce(json_extract(record, '$.is_return'), 0) AS is_return,
  coalesce(json_extract(record, '$.is_end'), 0) AS is_end,
  json_extract(record, '$.taken_at_ms') AS taken_at_ms,
  coalesce(json_extract(record, '$.taken_by'), '') AS taken_by,
  json_extract(record, '$.supersedes') AS supersedes,
  EXISTS (SELECT 1 FROM removed WHERE removed.kind = 'rail_point' AND removed.id = fact.id) AS is_removed,
  (SELECT why FROM removed WHERE removed.kind = 'rail_point' AND removed.id = fact.id) AS removed_why,
  seq, CAST(substr(stamp, 1, 15) AS INTEGER) AS changed_at_ms
FROM fact WHERE kind = 'rail_point';

CREATE VIEW shop_custody AS
SELECT
  id,
  json_extract(record, '$.job_id') AS job_id,
  json_extract(record, '$.of') AS "of",
  json_extract(record, '$.event') AS event,
  coalesce(json_extract(record, '$.from_whom'), '') AS from_whom,
  coalesce(json_extract(record, '$.to_whom'), '') AS to_whom,
  json_extract(record, '$.sanitised') AS sanitised,
  coalesce(json_extract(record, '$.method'), '') AS method,
  coalesce(json_extract(record, '$.verified_how'), '') AS verified_how,
  coalesce(json_extract(record, '$.files'), 'not_said') AS files,
  json_extract(record, '$.happened_at_ms') AS happened_at_ms,
  coalesce(json_extract(record, '$.noted_by'), '') AS noted_by,
  coalesce(json_extract(record, '$.note'), '') AS note,
  EXISTS (SELECT 1 FROM removed WHERE removed.kind = 'custody' AND removed.id = fact.id) AS is_removed,
  (SELECT why FROM removed WHERE removed.kind = 'custody' AND removed.id = fact.id) AS removed_why,
  seq, CAST(substr(stamp, 1, 15) AS INTEGER) AS changed_at_ms
FROM fact WHERE kind = 'custody';

CREATE VIEW shop_consent AS
SELECT
  id,
  json_extract(record, '$.job_id') AS job_id,
  json_extract(record, '$.to') AS "to",
  json_extract(record, '$.given') AS given,
  json_extract(record, '$.words') AS words,
  coalesce(json_extract(record, '$.signed_name'), '') AS signed_name,
  json_extract(record, '$.given_at_ms') AS given_at_ms,
  coalesce(json_extract(record, '$.taken_by'), '') AS taken_by,
  EXISTS (SELECT 1 FROM removed WHERE removed.kind = 'consent' AND removed.id = fact.id) AS is_removed,
  (SELECT why FROM removed WHERE removed.kind = 'consent' AND removed.id = fact.id) AS removed_why,
  seq, CAST(substr(stamp, 1, 15) AS INTEGER) AS changed_at_ms
FROM fact WHERE kind = 'consent';

CREATE VIEW shop_closing AS
SELECT
  id,
  json_extract(record, '$.job_id') AS job_id,
  coalesce(json_extract(record, '$.was_wrong'), '[]') AS was_wrong,
  coalesce(json_extract(record, '$.did'), '[]') AS did,
  coalesce(json_extract(record, '$.device'), 'not_tried') AS device,
  coalesce(json_extract(record, '$.data'), 'not_asked') AS data,
  coalesce(json_extract(record, '$.said_before'), '[]') AS said_before,
  json_extract(record, '$.device_chance_before') AS device_chance_before,
  json_extract(record, '$.data_chance_before') AS data_chance_before,
  coalesce(json_extract(record, '$.what_happened'), '[]') AS what_happened,
  coalesce(json_extract(record, '$.symptoms'), '[]') AS symptoms,
  json_extract(record, '$.socket_kind') AS socket_kind,
  json_extract(record, '$.pitch_mm') AS pitch_mm,
  coalesce(json_extract(record, '$.met_voltage'), '[]') AS met_voltage,
  coalesce(json_extract(record, '$.touches'), 0) AS touches,
  coalesce(json_extract(record, '$.failed_touches'), 0) AS failed_touches,
  json_extract(record, '$.reading_s') AS reading_s,
  json_extract(record, '$.sweep_s') AS sweep_s,
  json_extract(record, '$.work_min') AS work_min,
  json_extract(record, '$.whole_cost') AS whole_cost,
  coalesce(json_extract(record, '$.parts_replaced'), '[]') AS parts_replaced,
  coalesce(json_extract(record, '$.supersedes'), '[]') AS settles,
  json_extract(record, '$.closed_at_ms') AS closed_at_ms,
  coalesce(json_extract(record, '$.closed_by'), '') AS closed_by,
  coalesce(json_extract(record, '$.note'), '') AS note,
  EXISTS (SELECT 1 FROM removed WHERE removed.kind = 'closing' AND removed.id = fact.id) AS is_removed,
  (SELECT why FROM removed WHERE removed.kind = 'closing' AND removed.id = fact.id) AS removed_why,
  seq, CAST(substr(stamp, 1, 15) AS INTEGER) AS changed_at_ms
FROM fact WHERE kind = 'closing';

CREATE VIEW shop_figures AS
SELECT
  id,
  coalesce(
    (SELECT json_extract(value, '$') FROM field WHERE kind = 'shop' AND id = one.id AND name = 'name'), ''
  ) AS name,
  coalesce(
    (SELECT json_extract(value, '$') FROM field WHERE kind = 'shop' AND id = one.id AND name = 'currency'), ''
  ) AS currency,
  (SELECT json_extract(value, '$') FROM field WHERE kind = 'shop' AND id = one.id AND name = 'hour_cost') AS hour_cost,
  coalesce(
    (SELECT json_extract(value, '$') FROM field WHERE kind = 'shop' AND id = one.id AND name = 'options'), '[]'
  ) AS options,
  coalesce(
    (SELECT json_extract(value, '$') FROM field WHERE kind = 'shop' AND id = one.id AND name = 'learn'), 1
  ) AS learn,
  coalesce(
    (SELECT json_extract(value, '$') FROM field WHERE kind = 'shop' AND id = one.id AND name = 'learnt_from_ms'), 0
  ) AS learnt_from_ms,
  EXISTS (SELECT 1 FROM removed WHERE kind = 'shop' AND id = one.id) AS is_removed,
  (SELECT why FROM removed WHERE kind = 'shop' AND id = one.id) AS removed_why,
  (SELECT max(seq) FROM field WHERE kind = 'shop' AND id = one.id) AS seq,
  (SELECT CAST(substr(max(stamp), 1, 15) AS INTEGER) FROM field WHERE kind = 'shop' AND id = one.id) AS changed_at_ms
FROM (SELECT DISTINCT id FROM field WHERE kind = 'shop') AS one;
