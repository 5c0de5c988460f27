-- The rest of a visit: what was ticked before power, points of a rail, custody, consent, how each job was closed.

ALTER TABLE second_probe.job
  ADD COLUMN limit_cost double precision,
  ADD COLUMN limit_work_min double precision,
  ADD COLUMN storage text NOT NULL DEFAULT 'not_known',
  ADD COLUMN data_set text NOT NULL DEFAULT 'not_known';
COMMENT ON COLUMN second_probe.job.limit_cost IS 'what the owner agreed to at most, in the shop''s currency';
COMMENT ON COLUMN second_probe.job.limit_work_min IS 'minutes of work the owner agreed to at most';
COMMENT ON COLUMN second_probe.job.storage IS 'how the chip with the data sits: not_known, soldered, removable or sealed_to_chip';
COMMENT ON COLUMN second_probe.job.data_set IS 'where processor, memory and storage that belong together are: not_known, on_this_board or on_another_board';

ALTER TABLE second_probe.observation ADD COLUMN supply_mv double precision;
COMMENT ON COLUMN second_probe.observation.supply_mv IS 'the supply''s voltage, millivolts';

CREATE TABLE second_probe.power_check (
  branch text NOT NULL REFERENCES second_probe.branch (name),
  id text NOT NULL,
  job_id text NOT NULL,
  "check" text NOT NULL,
  done boolean NOT NULL,
  limit_ma double precision,
  expected_ma double precision,
  supply_mv double precision,
  who text NOT NULL,
  note text NOT NULL,
  waived_because text,
  checked_at_ms bigint NOT NULL,
  checked_at timestamptz GENERATED ALWAYS AS (to_timestamp(checked_at_ms / 1000.0)) STORED,
  checked_by text NOT NULL,
  is_removed boolean NOT NULL,
  removed_why text,
  seq bigint NOT NULL,
  changed_at_ms bigint,
  changed_at timestamptz GENERATED ALWAYS AS (to_timestamp(changed_at_ms / 1000.0)) STORED,
  PRIMARY KEY (branch, id)
);
COMMENT ON TABLE second_probe.power_check IS 'One line of the list before power, ticked or taken back. The newest of a check counts.';
COMMENT ON COLUMN second_probe.power_check.branch IS 'which shop''s record it comes from';
COMMENT ON COLUMN second_probe.power_check.id IS 'its id in that record, made by the phone that made it';
COMMENT ON COLUMN second_probe.power_check.job_id IS 'the job';
COMMENT ON COLUMN second_probe.power_check."check" IS 'the line';
COMMENT ON COLUMN second_probe.power_check.done IS 'ticked';
COMMENT ON COLUMN second_probe.power_check.limit_ma IS 'the supply''s limit, milliamperes';
COMMENT ON COLUMN second_probe.power_check.expected_ma IS 'the draw that was expected, milliamperes';
COMMENT ON COLUMN second_probe.power_check.supply_mv IS 'the supply''s voltage, millivolts';
COMMENT ON COLUMN second_probe.power_check.who IS 'who stands by';
COMMENT ON COLUMN second_probe.power_check.note IS 'in words, what a low line is';
COMMENT ON COLUMN second_probe.power_check.waived_because IS 'why it does not apply';
COMMENT ON COLUMN second_probe.power_check.checked_at_ms IS 'when, in milliseconds since 1970-01-01 UTC';
COMMENT ON COLUMN second_probe.power_check.checked_at IS 'when';
COMMENT ON COLUMN second_probe.power_check.checked_by IS 'by whom';
COMMENT ON COLUMN second_probe.power_check.is_removed IS 'it was taken back; the row stays';
COMMENT ON COLUMN second_probe.power_check.removed_why IS 'why, in the words of whoever took it back';
COMMENT ON COLUMN second_probe.power_check.seq IS 'number of the newest change that gave the row a value, in the branch''s own record';
COMMENT ON COLUMN second_probe.power_check.changed_at_ms IS 'when a phone made that change, in milliseconds since 1970-01-01 UTC';
COMMENT ON COLUMN second_probe.power_check.changed_at IS 'when a phone made that change';
CREATE INDEX power_check_of_job ON second_probe.power_check (branch, job_id);

CREATE TABLE second_probe.rail_point (
  branch text NOT NULL REFERENCES second_probe.branch (name),
  id text NOT NULL,
  job_id text NOT NULL,
  rail text NOT NULL,
  place text NOT NULL,
  mv double precision NOT NULL,
  along_squares double precision,
  x_mm double precision,
  y_mm double precision,
  injected_mv double precision,
  injected_ma double precision,
  return_at text NOT NULL,
  is_injection boolean NOT NULL,
  is_return boolean NOT NULL,
  is_end boolean NOT NULL,
  taken_at_ms bigint NOT NULL,
  taken_at timestamptz GENERATED ALWAYS AS (to_timestamp(taken_at_ms / 1000.0)) STORED,
  taken_by text NOT NULL,
  supersedes text,
  is_removed boolean NOT NULL,
  removed_why text,
  seq bigint NOT NULL,
  changed_at_ms bigint,
  changed_at timestamptz GENERATED ALWAYS AS (to_timestamp(changed_at_ms / 1000.0)) STORED,
  PRIMARY KEY (branch, id)
);
COMMENT ON TABLE second_probe.rail_point IS 'Millivolts at one place of a rail into which a known current is injected.';
COMMENT ON COLUMN second_probe.rail_point.branch IS 'which shop''s record it comes from';
COMMENT ON COLUMN second_probe.rail_point.id IS 'its id in that record, made by the phone that made it';
COMMENT ON COLUMN second_probe.rail_point.job_id IS 'the job';
COMMENT ON COLUMN second_probe.rail_point.rail IS 'the net';
COMMENT ON COLUMN second_probe.rail_point.place IS 'where, in words';
COMMENT ON COLUMN second_probe.rail_point.mv IS 'millivolts against the return';
COMMENT ON COLUMN second_probe.rail_point.along_squares IS 'squares of copper from where the current goes in';
COMMENT ON COLUMN second_probe.rail_point.x_mm IS 'where on the board, millimetres';
COMMENT ON COLUMN second_probe.rail_point.y_mm IS 'where on the board, millimetres';
COMMENT ON COLUMN second_probe.rail_point.injected_mv IS 'the supply''s voltage, millivolts';
COMMENT ON COLUMN second_probe.rail_point.injected_ma IS 'the supply''s current, milliamperes';
COMMENT ON COLUMN second_probe.rail_point.return_at IS 'where the meter''s other lead stood';
COMMENT ON COLUMN second_probe.rail_point.is_injection IS 'the current goes in here';
COMMENT ON COLUMN second_probe.rail_point.is_return IS 'the current leaves here';
COMMENT ON COLUMN second_probe.rail_point.is_end IS 'the rail ends here';
COMMENT ON COLUMN second_probe.rail_point.taken_at_ms IS 'when, in milliseconds since 1970-01-01 UTC';
COMMENT ON COLUMN second_probe.rail_point.taken_at IS 'when';
COMMENT ON COLUMN second_probe.rail_point.taken_by IS 'by whom';
COMMENT ON COLUMN second_probe.rail_point.supersedes IS 'rail_point.id that this one corrects';
COMMENT ON COLUMN second_probe.rail_point.is_removed IS 'it was taken back; the row stays';
COMMENT ON COLUMN second_probe.rail_point.removed_why IS 'why, in the words of whoever took it back';
COMMENT ON COLUMN second_probe.rail_point.seq IS 'number of the newest change that gave the row a value, in the branch''s own record';
COMMENT ON COLUMN second_probe.rail_point.changed_at_ms IS 'when a phone made that change, in milliseconds since 1970-01-01 UTC';
COMMENT ON COLUMN second_probe.rail_point.changed_at IS 'when a phone made that change';
CREATE INDEX rail_point_of_job ON second_probe.rail_point (branch, job_id);

CREATE TABLE second_probe.custody (
  branch text NOT NULL REFERENCES second_probe.branch (name),
  id text NOT NULL,
  job_id text NOT NULL,
  "of" text NOT NULL,
  event text NOT NULL,
  from_whom text NOT NULL,
  to_whom text NOT NULL,
  sanitised text,
  method text NOT NULL,
  verified_how text NOT NULL,
  files text NOT NULL,
  happened_at_ms bigint NOT NULL,
  happened_at timestamptz GENERATED ALWAYS AS (to_timestamp(happened_at_ms / 1000.0)) STORED,
  noted_by text NOT NULL,
  note text NOT NULL,
  is_removed boolean NOT NULL,
  removed_why text,
  seq bigint NOT NULL,
  changed_at_ms bigint,
  changed_at timestamptz GENERATED ALWAYS AS (to_timestamp(changed_at_ms / 1000.0)) STORED,
  PRIMARY KEY (branch, id)
);
COMMENT ON TABLE second_probe.custody IS 'The device, a copy of its data or its old parts changed hands, or ended.';
COMMENT ON COLUMN second_probe.custody.branch IS 'which shop''s record it comes from';
COMMENT ON COLUMN second_probe.custody.id IS 'its id in that record, made by the phone that made it';
COMMENT ON COLUMN second_probe.custody.job_id IS 'the job';
COMMENT ON COLUMN second_probe.custody."of" IS 'device, data_copy, storage or parts';
COMMENT ON COLUMN second_probe.custody.event IS 'received, handed_on, came_back, copied, returned or sanitised';
COMMENT ON COLUMN second_probe.custody.from_whom IS 'from whom; an owner''s words, emptied when the shop forgets them';
COMMENT ON COLUMN second_probe.custody.to_whom IS 'to whom; an owner''s words';
COMMENT ON COLUMN second_probe.custody.sanitised IS 'clear, purge or destroy, as in NIST SP 800-88 Rev. 2; null: nothing was';
COMMENT ON COLUMN second_probe.custody.method IS 'how it was sanitised';
COMMENT ON COLUMN second_probe.custody.verified_how IS 'how that was shown';
COMMENT ON COLUMN second_probe.custody.files IS 'whether the owner''s files were opened: not_said, not_opened or opened_as_agreed';
COMMENT ON COLUMN second_probe.custody.happened_at_ms IS 'when, in milliseconds since 1970-01-01 UTC';
COMMENT ON COLUMN second_probe.custody.happened_at IS 'when';
COMMENT ON COLUMN second_probe.custody.noted_by IS 'by whom it was noted';
COMMENT ON COLUMN second_probe.custody.note IS 'free words';
COMMENT ON COLUMN second_probe.custody.is_removed IS 'it was taken back; the row stays';
COMMENT ON COLUMN second_probe.custody.removed_why IS 'why, in the words of whoever took it back';
COMMENT ON COLUMN second_probe.custody.seq IS 'number of the newest change that gave the row a value, in the branch''s own record';
COMMENT ON COLUMN second_probe.custody.changed_at_ms IS 'when a phone made that change, in milliseconds since 1970-01-01 UTC';
COMMENT ON COLUMN second_probe.custody.changed_at IS 'when a phone made that change';
CREATE INDEX custody_of_job ON second_probe.custody (branch, job_id);

CREATE TABLE second_probe.consent (
  branch text NOT NULL REFERENCES second_probe.branch (name),
  id text NOT NULL,
  job_id text NOT NULL,
  "to" text NOT NULL,
  given boolean NOT NULL,
  words text NOT NULL,
  signed_name text NOT NULL,
  given_at_ms bigint NOT NULL,
  given_at timestamptz GENERATED ALWAYS AS (to_timestamp(given_at_ms / 1000.0)) STORED,
  taken_by text NOT NULL,
  is_removed boolean NOT NULL,
  removed_why text,
  seq bigint NOT NULL,
  changed_at_ms bigint,
  changed_at timestamptz GENERATED ALWAYS AS (to_timestamp(changed_at_ms / 1000.0)) STORED,
  PRIMARY KEY (branch, id)
);
COMMENT ON TABLE second_probe.consent IS 'What an owner agreed to, or did not. The newest of one `to` counts. The signature itself stays in the record.';
COMMENT ON COLUMN second_probe.consent.branch IS 'which shop''s record it comes from';
COMMENT ON COLUMN second_probe.consent.id IS 'its id in that record, made by the phone that made it';
COMMENT ON COLUMN second_probe.consent.job_id IS 'the job';
COMMENT ON COLUMN second_probe.consent."to" IS 'power_up, data_work, heat_or_chip_work, sanitising or handed_back';
COMMENT ON COLUMN second_probe.consent.given IS 'agreed, or not';
COMMENT ON COLUMN second_probe.consent.words IS 'the text above the signature';
COMMENT ON COLUMN second_probe.consent.signed_name IS 'the name beside it; an owner''s words';
COMMENT ON COLUMN second_probe.consent.given_at_ms IS 'when, in milliseconds since 1970-01-01 UTC';
COMMENT ON COLUMN second_probe.consent.given_at IS 'when';
COMMENT ON COLUMN second_probe.consent.taken_by IS 'by whom it was taken';
COMMENT ON COLUMN second_probe.consent.is_removed IS 'it was taken back; the row stays';
COMMENT ON COLUMN second_probe.consent.removed_why IS 'why, in the words of whoever took it back';
COMMENT ON COLUMN second_probe.consent.seq IS 'number of the newest change that gave the row a value, in the branch''s own record';
COMMENT ON COLUMN second_probe.consent.changed_at_ms IS 'when a phone made that change, in milliseconds since 1970-01-01 UTC';
COMMENT ON COLUMN second_probe.consent.changed_at IS 'when a phone made that change';
CREATE INDEX consent_of_job ON second_probe.consent (branch, job_id);

CREATE TABLE second_probe.closing (
  branch text NOT NULL REFERENCES second_probe.branch (name),
  id text NOT NULL,
  job_id text NOT NULL,
  was_wrong jsonb NOT NULL,
  did jsonb NOT NULL,
  device text NOT NULL,
  data text NOT NULL,
  said_before jsonb NOT NULL,
  device_chance_before double precision,
  data_chance_before double precision,
  what_happened jsonb NOT NULL,
  symptoms jsonb NOT NULL,
  socket_kind text,
  pitch_mm double precision,
  met_voltage jsonb NOT NULL,
  touches bigint NOT NULL,
  failed_touches bigint NOT NULL,
  reading_s double precision,
  sweep_s double precision,
  work_min double precision,
  whole_cost double precision,
  parts_replaced jsonb NOT NULL,
  settles jsonb NOT NULL,
  closed_at_ms bigint NOT NULL,
  closed_at timestamptz GENERATED ALWAYS AS (to_timestamp(closed_at_ms / 1000.0)) STORED,
  closed_by text NOT NULL,
  note text NOT NULL,
  is_removed boolean NOT NULL,
  removed_why text,
  seq bigint NOT NULL,
  changed_at_ms bigint,
  changed_at timestamptz GENERATED ALWAYS AS (to_timestamp(changed_at_ms / 1000.0)) STORED,
  PRIMARY KEY (branch, id)
);
COMMENT ON TABLE second_probe.closing IS 'A job was closed: what was really wrong, what was done, how it ended, what had been said before.';
COMMENT ON COLUMN second_probe.closing.branch IS 'which shop''s record it comes from';
COMMENT ON COLUMN second_probe.closing.id IS 'its id in that record, made by the phone that made it';
COMMENT ON COLUMN second_probe.closing.job_id IS 'the job';
COMMENT ON COLUMN second_probe.closing.was_wrong IS 'list of story, subject and how it is known; empty: never found out';
COMMENT ON COLUMN second_probe.closing.did IS 'list of what was done';
COMMENT ON COLUMN second_probe.closing.device IS 'works, works_in_part, does_not_work or not_tried';
COMMENT ON COLUMN second_probe.closing.data IS 'safe, in_part, lost, not_touched or not_asked';
COMMENT ON COLUMN second_probe.closing.said_before IS 'list of stories with the odds the opinion gave them';
COMMENT ON COLUMN second_probe.closing.device_chance_before IS 'the chance for the device that the opinion gave';
COMMENT ON COLUMN second_probe.closing.data_chance_before IS 'the chance for the data that the opinion gave';
COMMENT ON COLUMN second_probe.closing.what_happened IS 'list: what had been said, as in job';
COMMENT ON COLUMN second_probe.closing.symptoms IS 'list, as in job';
COMMENT ON COLUMN second_probe.closing.socket_kind IS 'how the socket holds its plug';
COMMENT ON COLUMN second_probe.closing.pitch_mm IS 'its pitch, millimetres';
COMMENT ON COLUMN second_probe.closing.met_voltage IS 'list of lines that met a voltage they should not, and how they read';
COMMENT ON COLUMN second_probe.closing.touches IS 'how often a probe was put down';
COMMENT ON COLUMN second_probe.closing.failed_touches IS 'touches that a second one did not confirm';
COMMENT ON COLUMN second_probe.closing.reading_s IS 'seconds from the first to the last touch';
COMMENT ON COLUMN second_probe.closing.sweep_s IS 'seconds that touching every contact would have taken';
COMMENT ON COLUMN second_probe.closing.work_min IS 'minutes of work';
COMMENT ON COLUMN second_probe.closing.whole_cost IS 'what it cost, in the shop''s currency';
COMMENT ON COLUMN second_probe.closing.parts_replaced IS 'list';
COMMENT ON COLUMN second_probe.closing.settles IS 'list of closing.id that this one settles';
COMMENT ON COLUMN second_probe.closing.closed_at_ms IS 'when, in milliseconds since 1970-01-01 UTC';
COMMENT ON COLUMN second_probe.closing.closed_at IS 'when';
COMMENT ON COLUMN second_probe.closing.closed_by IS 'by whom';
COMMENT ON COLUMN second_probe.closing.note IS 'free words';
COMMENT ON COLUMN second_probe.closing.is_removed IS 'it was taken back; the row stays';
COMMENT ON COLUMN second_probe.closing.removed_why IS 'why, in the words of whoever took it back';
COMMENT ON COLUMN second_probe.closing.seq IS 'number of the newest change that gave the row a value, in the branch''s own record';
COMMENT ON COLUMN second_probe.closing.changed_at_ms IS 'when a phone made that change, in milliseconds since 1970-01-01 UTC';
COMMENT ON COLUMN second_probe.closing.changed_at IS 'when a phone made that change';
CREATE INDEX closing_of_job ON second_probe.closing (branch, job_id);

CREATE TABLE second_probe.figures (
  branch text NOT NULL REFERENCES second_probe.branch (name),
  id text NOT NULL,
  name text NOT NULL,
  currency text NOT NULL,
  hour_cost double precision,
  options jsonb NOT NULL,
  learn boolean NOT NULL,
  learnt_from_ms bigint NOT NULL,
  is_removed boolean NOT NULL,
  removed_why text,
  seq bigint NOT NULL,
  changed_at_ms bigint,
  changed_at timestamptz GENERATED ALWAYS AS (to_timestamp(changed_at_ms / 1000.0)) STORED,
  PRIMARY KEY (branch, id)
);
COMMENT ON TABLE second_probe.figures IS 'A shop''s own figures, one row a branch.';
COMMENT ON COLUMN second_probe.figures.branch IS 'which shop''s record it comes from';
COMMENT ON COLUMN second_probe.figures.id IS 'always shop';
COMMENT ON COLUMN second_probe.figures.name IS 'what the shop calls itself';
COMMENT ON COLUMN second_probe.figures.currency IS 'the currency of every cost';
COMMENT ON COLUMN second_probe.figures.hour_cost IS 'what an hour of work costs';
COMMENT ON COLUMN second_probe.figures.options IS 'list: what each way of going on costs and how long it takes';
COMMENT ON COLUMN second_probe.figures.learn IS 'whether closed jobs move the odds';
COMMENT ON COLUMN second_probe.figures.learnt_from_ms IS 'only jobs closed after it count, in milliseconds since 1970-01-01 UTC';
COMMENT ON COLUMN second_probe.figures.is_removed IS 'it was taken back; the row stays';
COMMENT ON COLUMN second_probe.figures.removed_why IS 'why, in the words of whoever took it back';
COMMENT ON COLUMN second_probe.figures.seq IS 'number of the newest change that gave the row a value, in the branch''s own record';
COMMENT ON COLUMN second_probe.figures.changed_at_ms IS 'when a phone made that change, in milliseconds since 1970-01-01 UTC';
COMMENT ON COLUMN second_probe.figures.changed_at IS 'when a phone made that change';

-- How each job ended, or stands: now with what was really wrong.
DROP VIEW second_probe.outcome;
CREATE VIEW second_probe.outcome AS
SELECT
  job.branch, job.id AS job_id, job.tray, job.tray_since, job.opened_at,
  before.story, before.story_title, before.story_odds, before.decision, before.data_at_risk,
  (SELECT count(*) FROM second_probe.verdict AS one WHERE (one.branch, one.job_id) = (job.branch, job.id)
    AND one.stage = 'before_repair' AND one.verdict IN ('short', 'low', 'high', 'open', 'unsteady')) AS wrong_before,
  after.job_id IS NOT NULL AS was_read_after,
  (SELECT count(*) FROM second_probe.verdict AS one WHERE (one.branch, one.job_id) = (job.branch, job.id)
    AND one.stage = 'after_repair' AND one.verdict IN ('short', 'low', 'high', 'open', 'unsteady')) AS wrong_after,
  closed.closings, closed.was_wrong, closed.did, closed.device, closed.data, closed.closed_at
FROM second_probe.job
LEFT JOIN LATERAL (
  -- the newest that no other one settles; more than one left: they say different things, and nobody said which holds
  SELECT count(*) OVER () AS closings, one.was_wrong, one.did, one.device, one.data, one.closed_at
  FROM second_probe.closing AS one
  WHERE (one.branch, one.job_id) = (job.branch, job.id) AND NOT one.is_removed AND NOT EXISTS (
    SELECT 1 FROM second_probe.closing AS later
    WHERE (later.branch, later.job_id) = (one.branch, one.job_id) AND NOT later.is_removed AND later.settles ? one.id)
  ORDER BY one.closed_at_ms DESC, one.id DESC LIMIT 1
) AS closed ON true
LEFT JOIN second_probe.opinion AS before
  ON (before.branch, before.job_id, before.stage) = (job.branch, job.id, 'before_repair')
LEFT JOIN second_probe.opinion AS after
  ON (after.branch, after.job_id, after.stage) = (job.branch, job.id, 'after_repair')
WHERE NOT job.is_removed AND job.reference_board_id IS NULL;
COMMENT ON VIEW second_probe.outcome IS 'How each owner''s job ended, or stands: its tray, the leading story, contacts that were wrong before and after the repair, and its closing (closings above 1: they disagree).';
