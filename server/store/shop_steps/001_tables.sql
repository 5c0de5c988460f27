-- A shop's own database: what `secondprobe push` copies of the record. Rows come from the views of
-- server/store/steps/005_shop_views.sql. One row a record and branch; nothing is ever deleted here, also what was
-- taken back stays (is_removed). No foreign keys between the records: a reading may come before its job.
CREATE TABLE second_probe.branch (
  name text PRIMARY KEY,
  record_made_at_ms bigint NOT NULL,
  epoch text NOT NULL,
  copied_to_seq bigint NOT NULL DEFAULT 0,
  pushed_at timestamptz NOT NULL DEFAULT now()
);
COMMENT ON TABLE second_probe.branch IS 'The records that are copied here, one a shop.';
COMMENT ON COLUMN second_probe.branch.name IS 'what the shop calls itself: secondprobe push --branch NAME';
COMMENT ON COLUMN second_probe.branch.record_made_at_ms IS 'when the record was begun, in milliseconds since 1970-01-01 UTC: tells two records apart';
COMMENT ON COLUMN second_probe.branch.epoch IS 'changes when the record was restored from a copy; then everything is copied again';
COMMENT ON COLUMN second_probe.branch.copied_to_seq IS 'number of the last change whose rows are here';
COMMENT ON COLUMN second_probe.branch.pushed_at IS 'when something was last copied';

CREATE TABLE second_probe.closed_change (
  branch text NOT NULL REFERENCES second_probe.branch (name),
  seq bigint NOT NULL,
  PRIMARY KEY (branch, seq)
);
COMMENT ON TABLE second_probe.closed_change IS 'Changes a newer app made: not read yet, copied once the shop''s server is updated.';
COMMENT ON COLUMN second_probe.closed_change.branch IS 'which shop''s record it is in';
COMMENT ON COLUMN second_probe.closed_change.seq IS 'its number there';

CREATE TABLE second_probe.refused_row (
  branch text NOT NULL REFERENCES second_probe.branch (name),
  table_name text NOT NULL,
  row_key text NOT NULL,
  why text NOT NULL,
  whole jsonb NOT NULL,
  PRIMARY KEY (branch, table_name, row_key)
);
COMMENT ON TABLE second_probe.refused_row IS 'Rows this database would not take: kept whole, named, and in nobody''s way. Empty is what it should be.';
COMMENT ON COLUMN second_probe.refused_row.branch IS 'which shop''s record it comes from';
COMMENT ON COLUMN second_probe.refused_row.table_name IS 'the table it was for';
COMMENT ON COLUMN second_probe.refused_row.row_key IS 'its id';
COMMENT ON COLUMN second_probe.refused_row.why IS 'what the database said';
COMMENT ON COLUMN second_probe.refused_row.whole IS 'the row';

CREATE TABLE second_probe.job (
  branch text NOT NULL REFERENCES second_probe.branch (name),
  id text NOT NULL,
  title text NOT NULL,
  tray text NOT NULL,
  tray_since_ms bigint,
  tray_since timestamptz GENERATED ALWAYS AS (to_timestamp(tray_since_ms / 1000.0)) STORED,
  board_version_id text,
  socket text,
  what_happened jsonb NOT NULL,
  symptoms jsonb NOT NULL,
  data_matters text NOT NULL,
  opened_by text NOT NULL,
  in_their_words text NOT NULL,
  meter_id text,
  air_c double precision,
  reference_board_id text,
  conditions jsonb NOT NULL,
  stage text NOT NULL,
  opened_at_ms bigint NOT NULL,
  opened_at timestamptz GENERATED ALWAYS AS (to_timestamp(opened_at_ms / 1000.0)) STORED,
  note text NOT NULL,
  is_removed boolean NOT NULL,
  removed_why text,
  seq bigint NOT NULL,
  changed_at_ms bigint,
  changed_at timestamptz GENERATED ALWAYS AS (to_timestamp(changed_at_ms / 1000.0)) STORED,
  PRIMARY KEY (branch, id)
);
COMMENT ON TABLE second_probe.job IS 'One device on the bench, or a healthy board that is read (reference_board_id).';
COMMENT ON COLUMN second_probe.job.branch IS 'which shop''s record it comes from';
COMMENT ON COLUMN second_probe.job.id IS 'its id in that record, made by the phone that made it';
COMMENT ON COLUMN second_probe.job.title IS 'what the bench calls it; an owner''s words, emptied when the shop forgets them';
COMMENT ON COLUMN second_probe.job.tray IS 'in_hand, waiting_for_owner, waiting_for_part, ready or gone';
COMMENT ON COLUMN second_probe.job.tray_since_ms IS 'when it came to that tray; null: it was never moved, in milliseconds since 1970-01-01 UTC';
COMMENT ON COLUMN second_probe.job.tray_since IS 'when it came to that tray; null: it was never moved';
COMMENT ON COLUMN second_probe.job.board_version_id IS 'board.id';
COMMENT ON COLUMN second_probe.job.socket IS 'which socket of the board is read';
COMMENT ON COLUMN second_probe.job.what_happened IS 'list: what the owner or the person before said';
COMMENT ON COLUMN second_probe.job.symptoms IS 'list';
COMMENT ON COLUMN second_probe.job.data_matters IS 'yes, no or not_asked';
COMMENT ON COLUMN second_probe.job.opened_by IS 'who had it open before; an owner''s words';
COMMENT ON COLUMN second_probe.job.in_their_words IS 'an owner''s words';
COMMENT ON COLUMN second_probe.job.meter_id IS 'meter.id, of readings from now on';
COMMENT ON COLUMN second_probe.job.air_c IS 'air at the bench, degrees Celsius';
COMMENT ON COLUMN second_probe.job.reference_board_id IS 'reference_board.id; null: an owner''s job';
COMMENT ON COLUMN second_probe.job.conditions IS 'list: what is plugged, cleaned, warm, wet';
COMMENT ON COLUMN second_probe.job.stage IS 'before_repair or after_repair, of readings from now on';
COMMENT ON COLUMN second_probe.job.opened_at_ms IS 'when it was taken in, in milliseconds since 1970-01-01 UTC';
COMMENT ON COLUMN second_probe.job.opened_at IS 'when it was taken in';
COMMENT ON COLUMN second_probe.job.note IS 'free words';
COMMENT ON COLUMN second_probe.job.is_removed IS 'it was taken back; the row stays';
COMMENT ON COLUMN second_probe.job.removed_why IS 'why, in the words of whoever took it back';
COMMENT ON COLUMN second_probe.job.seq IS 'number of the newest change that gave the row a value, in the branch''s own record';
COMMENT ON COLUMN second_probe.job.changed_at_ms IS 'when a phone made that change, in milliseconds since 1970-01-01 UTC';
COMMENT ON COLUMN second_probe.job.changed_at IS 'when a phone made that change';

CREATE TABLE second_probe.meter (
  branch text NOT NULL REFERENCES second_probe.branch (name),
  id text NOT NULL,
  name text,
  test_current_ma double precision,
  test_current_sd_pct double precision,
  open_circuit_mv double precision,
  lead_ohm double precision,
  is_removed boolean NOT NULL,
  removed_why text,
  seq bigint NOT NULL,
  changed_at_ms bigint,
  changed_at timestamptz GENERATED ALWAYS AS (to_timestamp(changed_at_ms / 1000.0)) STORED,
  PRIMARY KEY (branch, id)
);
COMMENT ON TABLE second_probe.meter IS 'A meter''s sheet.';
COMMENT ON COLUMN second_probe.meter.branch IS 'which shop''s record it comes from';
COMMENT ON COLUMN second_probe.meter.id IS 'its id in that record, made by the phone that made it';
COMMENT ON COLUMN second_probe.meter.name IS 'what the shop calls it';
COMMENT ON COLUMN second_probe.meter.test_current_ma IS 'what diode mode forces; null: nobody measured it';
COMMENT ON COLUMN second_probe.meter.test_current_sd_pct IS 'how well that is known, in percent';
COMMENT ON COLUMN second_probe.meter.open_circuit_mv IS 'above it the display says OL';
COMMENT ON COLUMN second_probe.meter.lead_ohm IS 'the leads'' own resistance';
COMMENT ON COLUMN second_probe.meter.is_removed IS 'it was taken back; the row stays';
COMMENT ON COLUMN second_probe.meter.removed_why IS 'why, in the words of whoever took it back';
COMMENT ON COLUMN second_probe.meter.seq IS 'number of the newest change that gave the row a value, in the branch''s own record';
COMMENT ON COLUMN second_probe.meter.changed_at_ms IS 'when a phone made that change, in milliseconds since 1970-01-01 UTC';
COMMENT ON COLUMN second_probe.meter.changed_at IS 'when a phone made that change';

CREATE TABLE second_probe.reference_board (
  branch text NOT NULL REFERENCES second_probe.branch (name),
  id text NOT NULL,
  board_version_id text,
  label text NOT NULL,
  read_at_ms bigint NOT NULL,
  read_at timestamptz GENERATED ALWAYS AS (to_timestamp(read_at_ms / 1000.0)) STORED,
  air_c double precision,
  set_aside_why text,
  is_removed boolean NOT NULL,
  removed_why text,
  seq bigint NOT NULL,
  changed_at_ms bigint,
  changed_at timestamptz GENERATED ALWAYS AS (to_timestamp(changed_at_ms / 1000.0)) STORED,
  PRIMARY KEY (branch, id)
);
COMMENT ON TABLE second_probe.reference_board IS 'A healthy board that was read.';
COMMENT ON COLUMN second_probe.reference_board.branch IS 'which shop''s record it comes from';
COMMENT ON COLUMN second_probe.reference_board.id IS 'its id in that record, made by the phone that made it';
COMMENT ON COLUMN second_probe.reference_board.board_version_id IS 'board.id';
COMMENT ON COLUMN second_probe.reference_board.label IS 'what the shop calls it';
COMMENT ON COLUMN second_probe.reference_board.read_at_ms IS 'when it was read, in milliseconds since 1970-01-01 UTC';
COMMENT ON COLUMN second_probe.reference_board.read_at IS 'when it was read';
COMMENT ON COLUMN second_probe.reference_board.air_c IS 'air at the bench, degrees Celsius';
COMMENT ON COLUMN second_probe.reference_board.set_aside_why IS 'why it is not compared with; null: it is';
COMMENT ON COLUMN second_probe.reference_board.is_removed IS 'it was taken back; the row stays';
COMMENT ON COLUMN second_probe.reference_board.removed_why IS 'why, in the words of whoever took it back';
COMMENT ON COLUMN second_probe.reference_board.seq IS 'number of the newest change that gave the row a value, in the branch''s own record';
COMMENT ON COLUMN second_probe.reference_board.changed_at_ms IS 'when a phone made that change, in milliseconds since 1970-01-01 UTC';
COMMENT ON COLUMN second_probe.reference_board.changed_at IS 'when a phone made that change';

CREATE TABLE second_probe.board (
  branch text NOT NULL REFERENCES second_probe.branch (name),
  id text NOT NULL,
  device text NOT NULL,
  board text NOT NULL,
  revision text NOT NULL,
  made_at_ms bigint NOT NULL,
  made_at timestamptz GENERATED ALWAYS AS (to_timestamp(made_at_ms / 1000.0)) STORED,
  made_by text NOT NULL,
  is_removed boolean NOT NULL,
  removed_why text,
  seq bigint NOT NULL,
  changed_at_ms bigint,
  changed_at timestamptz GENERATED ALWAYS AS (to_timestamp(changed_at_ms / 1000.0)) STORED,
  PRIMARY KEY (branch, id)
);
COMMENT ON TABLE second_probe.board IS 'One version of a board''s description; it never changes. Sockets, nets and parts stay in the record.';
COMMENT ON COLUMN second_probe.board.branch IS 'which shop''s record it comes from';
COMMENT ON COLUMN second_probe.board.id IS 'its id in that record, made by the phone that made it';
COMMENT ON COLUMN second_probe.board.device IS 'what it is the board of';
COMMENT ON COLUMN second_probe.board.board IS 'the board''s name';
COMMENT ON COLUMN second_probe.board.revision IS 'as printed on it';
COMMENT ON COLUMN second_probe.board.made_at_ms IS 'when it was described, in milliseconds since 1970-01-01 UTC';
COMMENT ON COLUMN second_probe.board.made_at IS 'when it was described';
COMMENT ON COLUMN second_probe.board.made_by IS 'by whom';
COMMENT ON COLUMN second_probe.board.is_removed IS 'it was taken back; the row stays';
COMMENT ON COLUMN second_probe.board.removed_why IS 'why, in the words of whoever took it back';
COMMENT ON COLUMN second_probe.board.seq IS 'number of the newest change that gave the row a value, in the branch''s own record';
COMMENT ON COLUMN second_probe.board.changed_at_ms IS 'when a phone made that change, in milliseconds since 1970-01-01 UTC';
COMMENT ON COLUMN second_probe.board.changed_at IS 'when a phone made that change';

CREATE TABLE second_probe.reading (
  branch text NOT NULL REFERENCES second_probe.branch (name),
  id text NOT NULL,
  job_id text,
  reference_board_id text,
  socket text NOT NULL,
  kind text NOT NULL,
  contact text,
  touch jsonb NOT NULL,
  as_typed text NOT NULL,
  display_unit text NOT NULL,
  value_kind text,
  drop_mv double precision,
  ohm double precision,
  volts_mv double precision,
  draw_ma double precision,
  lead_on_ground text,
  subject text NOT NULL,
  place text NOT NULL,
  steadiness text,
  taken_after_s double precision,
  meter_id text NOT NULL,
  air_c double precision,
  conditions jsonb NOT NULL,
  stage text NOT NULL,
  taken_at_ms bigint NOT NULL,
  taken_at timestamptz GENERATED ALWAYS AS (to_timestamp(taken_at_ms / 1000.0)) STORED,
  taken_by text NOT NULL,
  supersedes text,
  note text NOT NULL,
  is_removed boolean NOT NULL,
  removed_why text,
  seq bigint NOT NULL,
  changed_at_ms bigint,
  changed_at timestamptz GENERATED ALWAYS AS (to_timestamp(changed_at_ms / 1000.0)) STORED,
  PRIMARY KEY (branch, id)
);
COMMENT ON TABLE second_probe.reading IS 'One touch of one place with one meter.';
COMMENT ON COLUMN second_probe.reading.branch IS 'which shop''s record it comes from';
COMMENT ON COLUMN second_probe.reading.id IS 'its id in that record, made by the phone that made it';
COMMENT ON COLUMN second_probe.reading.job_id IS 'the job it belongs to; null: a healthy board';
COMMENT ON COLUMN second_probe.reading.reference_board_id IS 'the healthy board it belongs to; null: a job';
COMMENT ON COLUMN second_probe.reading.socket IS 'the socket that was read';
COMMENT ON COLUMN second_probe.reading.kind IS 'drop, ohms, volts or draw';
COMMENT ON COLUMN second_probe.reading.contact IS 'the contact; null: another place, see touch';
COMMENT ON COLUMN second_probe.reading.touch IS 'where the probe was';
COMMENT ON COLUMN second_probe.reading.as_typed IS 'what was typed: the durable truth';
COMMENT ON COLUMN second_probe.reading.display_unit IS 'the unit of what was typed';
COMMENT ON COLUMN second_probe.reading.value_kind IS 'what the text says: drop, ohms, volts, draw, over_range (OL) or out_of_reach; null: not one value';
COMMENT ON COLUMN second_probe.reading.drop_mv IS 'millivolts, of a drop';
COMMENT ON COLUMN second_probe.reading.ohm IS 'ohms';
COMMENT ON COLUMN second_probe.reading.volts_mv IS 'millivolts, of a voltage';
COMMENT ON COLUMN second_probe.reading.draw_ma IS 'milliamperes';
COMMENT ON COLUMN second_probe.reading.lead_on_ground IS 'red or black: two quantities, never mixed; null: nothing on ground';
COMMENT ON COLUMN second_probe.reading.subject IS 'board_socket, cable_end or module_plug';
COMMENT ON COLUMN second_probe.reading.place IS 'spring, tail, pad, part_near, part_far or test_point';
COMMENT ON COLUMN second_probe.reading.steadiness IS 'steady, climbs, falls or jumps; null: nobody noted it';
COMMENT ON COLUMN second_probe.reading.taken_after_s IS 'seconds it was given to settle';
COMMENT ON COLUMN second_probe.reading.meter_id IS 'meter.id';
COMMENT ON COLUMN second_probe.reading.air_c IS 'air at the bench, degrees Celsius';
COMMENT ON COLUMN second_probe.reading.conditions IS 'list: what was plugged, cleaned, warm, wet';
COMMENT ON COLUMN second_probe.reading.stage IS 'before_repair, after_repair or on_healthy_board';
COMMENT ON COLUMN second_probe.reading.taken_at_ms IS 'when, in milliseconds since 1970-01-01 UTC';
COMMENT ON COLUMN second_probe.reading.taken_at IS 'when';
COMMENT ON COLUMN second_probe.reading.taken_by IS 'by whom';
COMMENT ON COLUMN second_probe.reading.supersedes IS 'reading.id that this one corrects';
COMMENT ON COLUMN second_probe.reading.note IS 'free words';
COMMENT ON COLUMN second_probe.reading.is_removed IS 'it was taken back; the row stays';
COMMENT ON COLUMN second_probe.reading.removed_why IS 'why, in the words of whoever took it back';
COMMENT ON COLUMN second_probe.reading.seq IS 'number of the newest change that gave the row a value, in the branch''s own record';
COMMENT ON COLUMN second_probe.reading.changed_at_ms IS 'when a phone made that change, in milliseconds since 1970-01-01 UTC';
COMMENT ON COLUMN second_probe.reading.changed_at IS 'when a phone made that change';

CREATE TABLE second_probe.observation (
  branch text NOT NULL REFERENCES second_probe.branch (name),
  id text NOT NULL,
  job_id text,
  reference_board_id text,
  seen text NOT NULL,
  subject text NOT NULL,
  contacts jsonb NOT NULL,
  part text,
  photo_id text,
  place text NOT NULL,
  draw_ma double precision,
  limit_ma double precision,
  seen_at_ms bigint NOT NULL,
  seen_at timestamptz GENERATED ALWAYS AS (to_timestamp(seen_at_ms / 1000.0)) STORED,
  seen_by text NOT NULL,
  note text NOT NULL,
  is_removed boolean NOT NULL,
  removed_why text,
  seq bigint NOT NULL,
  changed_at_ms bigint,
  changed_at timestamptz GENERATED ALWAYS AS (to_timestamp(changed_at_ms / 1000.0)) STORED,
  PRIMARY KEY (branch, id)
);
COMMENT ON TABLE second_probe.observation IS 'Something seen, on contacts or on a part, or what the supply showed.';
COMMENT ON COLUMN second_probe.observation.branch IS 'which shop''s record it comes from';
COMMENT ON COLUMN second_probe.observation.id IS 'its id in that record, made by the phone that made it';
COMMENT ON COLUMN second_probe.observation.job_id IS 'the job it belongs to; null: a healthy board';
COMMENT ON COLUMN second_probe.observation.reference_board_id IS 'the healthy board it belongs to; null: a job';
COMMENT ON COLUMN second_probe.observation.seen IS 'bent, burnt, lifted, wet, bridged, missing, clean, hot, ...';
COMMENT ON COLUMN second_probe.observation.subject IS 'board_socket, cable_end or module_plug';
COMMENT ON COLUMN second_probe.observation.contacts IS 'list of contacts';
COMMENT ON COLUMN second_probe.observation.part IS 'the part';
COMMENT ON COLUMN second_probe.observation.photo_id IS 'photo.id';
COMMENT ON COLUMN second_probe.observation.place IS 'where, in words';
COMMENT ON COLUMN second_probe.observation.draw_ma IS 'milliamperes beside a draw';
COMMENT ON COLUMN second_probe.observation.limit_ma IS 'the supply''s limit, milliamperes';
COMMENT ON COLUMN second_probe.observation.seen_at_ms IS 'when, in milliseconds since 1970-01-01 UTC';
COMMENT ON COLUMN second_probe.observation.seen_at IS 'when';
COMMENT ON COLUMN second_probe.observation.seen_by IS 'by whom';
COMMENT ON COLUMN second_probe.observation.note IS 'free words';
COMMENT ON COLUMN second_probe.observation.is_removed IS 'it was taken back; the row stays';
COMMENT ON COLUMN second_probe.observation.removed_why IS 'why, in the words of whoever took it back';
COMMENT ON COLUMN second_probe.observation.seq IS 'number of the newest change that gave the row a value, in the branch''s own record';
COMMENT ON COLUMN second_probe.observation.changed_at_ms IS 'when a phone made that change, in milliseconds since 1970-01-01 UTC';
COMMENT ON COLUMN second_probe.observation.changed_at IS 'when a phone made that change';

CREATE TABLE second_probe.make_safe (
  branch text NOT NULL REFERENCES second_probe.branch (name),
  id text NOT NULL,
  job_id text NOT NULL,
  step text NOT NULL,
  done boolean NOT NULL,
  measured_mv double precision,
  at_place text NOT NULL,
  waived_because text,
  proved_at_ms bigint NOT NULL,
  proved_at timestamptz GENERATED ALWAYS AS (to_timestamp(proved_at_ms / 1000.0)) STORED,
  proved_by text NOT NULL,
  is_removed boolean NOT NULL,
  removed_why text,
  seq bigint NOT NULL,
  changed_at_ms bigint,
  changed_at timestamptz GENERATED ALWAYS AS (to_timestamp(changed_at_ms / 1000.0)) STORED,
  PRIMARY KEY (branch, id)
);
COMMENT ON TABLE second_probe.make_safe IS 'One step of making safe: done, measured or waived. The newest of a step counts.';
COMMENT ON COLUMN second_probe.make_safe.branch IS 'which shop''s record it comes from';
COMMENT ON COLUMN second_probe.make_safe.id IS 'its id in that record, made by the phone that made it';
COMMENT ON COLUMN second_probe.make_safe.job_id IS 'the job';
COMMENT ON COLUMN second_probe.make_safe.step IS 'the step';
COMMENT ON COLUMN second_probe.make_safe.done IS 'ticked as done';
COMMENT ON COLUMN second_probe.make_safe.measured_mv IS 'what the meter showed there, millivolts';
COMMENT ON COLUMN second_probe.make_safe.at_place IS 'where';
COMMENT ON COLUMN second_probe.make_safe.waived_because IS 'why it does not apply';
COMMENT ON COLUMN second_probe.make_safe.proved_at_ms IS 'when, in milliseconds since 1970-01-01 UTC';
COMMENT ON COLUMN second_probe.make_safe.proved_at IS 'when';
COMMENT ON COLUMN second_probe.make_safe.proved_by IS 'by whom';
COMMENT ON COLUMN second_probe.make_safe.is_removed IS 'it was taken back; the row stays';
COMMENT ON COLUMN second_probe.make_safe.removed_why IS 'why, in the words of whoever took it back';
COMMENT ON COLUMN second_probe.make_safe.seq IS 'number of the newest change that gave the row a value, in the branch''s own record';
COMMENT ON COLUMN second_probe.make_safe.changed_at_ms IS 'when a phone made that change, in milliseconds since 1970-01-01 UTC';
COMMENT ON COLUMN second_probe.make_safe.changed_at IS 'when a phone made that change';

CREATE TABLE second_probe.photo (
  branch text NOT NULL REFERENCES second_probe.branch (name),
  id text NOT NULL,
  job_id text,
  reference_board_id text,
  sha256 text NOT NULL,
  mime text NOT NULL,
  size_bytes bigint NOT NULL,
  width_px integer NOT NULL,
  height_px integer NOT NULL,
  taken_at_ms bigint NOT NULL,
  taken_at timestamptz GENERATED ALWAYS AS (to_timestamp(taken_at_ms / 1000.0)) STORED,
  corners jsonb,
  is_removed boolean NOT NULL,
  removed_why text,
  seq bigint NOT NULL,
  changed_at_ms bigint,
  changed_at timestamptz GENERATED ALWAYS AS (to_timestamp(changed_at_ms / 1000.0)) STORED,
  PRIMARY KEY (branch, id)
);
COMMENT ON TABLE second_probe.photo IS 'The record of a picture. The picture itself stays with the shop''s server, under its hash.';
COMMENT ON COLUMN second_probe.photo.branch IS 'which shop''s record it comes from';
COMMENT ON COLUMN second_probe.photo.id IS 'its id in that record, made by the phone that made it';
COMMENT ON COLUMN second_probe.photo.job_id IS 'the job it belongs to; null: a healthy board';
COMMENT ON COLUMN second_probe.photo.reference_board_id IS 'the healthy board it belongs to; null: a job';
COMMENT ON COLUMN second_probe.photo.sha256 IS 'SHA-256 of the picture''s file';
COMMENT ON COLUMN second_probe.photo.mime IS 'image/jpeg, image/png or image/webp';
COMMENT ON COLUMN second_probe.photo.size_bytes IS 'of the file';
COMMENT ON COLUMN second_probe.photo.width_px IS 'pixels';
COMMENT ON COLUMN second_probe.photo.height_px IS 'pixels';
COMMENT ON COLUMN second_probe.photo.taken_at_ms IS 'when, in milliseconds since 1970-01-01 UTC';
COMMENT ON COLUMN second_probe.photo.taken_at IS 'when';
COMMENT ON COLUMN second_probe.photo.corners IS 'the socket''s corners, as fractions of width and height';
COMMENT ON COLUMN second_probe.photo.is_removed IS 'it was taken back; the row stays';
COMMENT ON COLUMN second_probe.photo.removed_why IS 'why, in the words of whoever took it back';
COMMENT ON COLUMN second_probe.photo.seq IS 'number of the newest change that gave the row a value, in the branch''s own record';
COMMENT ON COLUMN second_probe.photo.changed_at_ms IS 'when a phone made that change, in milliseconds since 1970-01-01 UTC';
COMMENT ON COLUMN second_probe.photo.changed_at IS 'when a phone made that change';

CREATE INDEX reading_of_job ON second_probe.reading (branch, job_id);
CREATE INDEX reading_of_reference_board ON second_probe.reading (branch, reference_board_id);
CREATE INDEX reading_by_time ON second_probe.reading (taken_at);
CREATE INDEX observation_of_job ON second_probe.observation (branch, job_id);
CREATE INDEX photo_of_job ON second_probe.photo (branch, job_id);
