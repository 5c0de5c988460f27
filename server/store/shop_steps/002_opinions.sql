-- What the engine says of each job: formed when something of the job changed, not when a healthy board was read later.
CREATE TABLE second_probe.opinion_due (
  branch text NOT NULL REFERENCES second_probe.branch (name),
  job_id text NOT NULL,
  PRIMARY KEY (branch, job_id)
);
COMMENT ON TABLE second_probe.opinion_due IS 'Jobs whose opinion is still to be formed anew.';
COMMENT ON COLUMN second_probe.opinion_due.branch IS 'which shop''s record it is in';
COMMENT ON COLUMN second_probe.opinion_due.job_id IS 'job.id';

CREATE TABLE second_probe.opinion (
  branch text NOT NULL REFERENCES second_probe.branch (name),
  job_id text NOT NULL,
  stage text NOT NULL,
  engine_version text NOT NULL,
  constants_version text NOT NULL,
  sheet_digest text NOT NULL,
  gate_open boolean NOT NULL,
  story text,
  story_subject text,
  story_title text,
  story_odds double precision,
  decision text,
  decision_odds double precision,
  data_at_risk boolean,
  questions integer NOT NULL,
  set_aside integer NOT NULL,
  whole jsonb NOT NULL,
  PRIMARY KEY (branch, job_id, stage)
);
COMMENT ON TABLE second_probe.opinion IS 'The engine''s opinion of a job, one a stage that was read.';
COMMENT ON COLUMN second_probe.opinion.branch IS 'which shop''s record it comes from';
COMMENT ON COLUMN second_probe.opinion.job_id IS 'job.id';
COMMENT ON COLUMN second_probe.opinion.stage IS 'which readings of the job were judged: before_repair or after_repair';
COMMENT ON COLUMN second_probe.opinion.engine_version IS 'the engine that formed it';
COMMENT ON COLUMN second_probe.opinion.constants_version IS 'its table of numbers';
COMMENT ON COLUMN second_probe.opinion.sheet_digest IS 'names the sheet it is about';
COMMENT ON COLUMN second_probe.opinion.gate_open IS 'whether the board was proved safe to read';
COMMENT ON COLUMN second_probe.opinion.story IS 'the leading account of what happened; null: none';
COMMENT ON COLUMN second_probe.opinion.story_subject IS 'on what';
COMMENT ON COLUMN second_probe.opinion.story_title IS 'in words';
COMMENT ON COLUMN second_probe.opinion.story_odds IS 'its probability';
COMMENT ON COLUMN second_probe.opinion.decision IS 'what would be done';
COMMENT ON COLUMN second_probe.opinion.decision_odds IS 'the probability that this is right';
COMMENT ON COLUMN second_probe.opinion.data_at_risk IS 'whether that puts the owner''s data at risk';
COMMENT ON COLUMN second_probe.opinion.questions IS 'how many questions it asks before something counts';
COMMENT ON COLUMN second_probe.opinion.set_aside IS 'how many readings it did not use';
COMMENT ON COLUMN second_probe.opinion.whole IS 'the whole opinion';

CREATE TABLE second_probe.verdict (
  branch text NOT NULL REFERENCES second_probe.branch (name),
  job_id text NOT NULL,
  stage text NOT NULL,
  contact text NOT NULL,
  verdict text NOT NULL,
  odds_expected double precision NOT NULL,
  odds_short double precision NOT NULL,
  odds_low double precision NOT NULL,
  odds_high double precision NOT NULL,
  odds_open double precision NOT NULL,
  drop_mv double precision,
  reads_ol boolean NOT NULL,
  healthy_mv double precision,
  rests_on text NOT NULL,
  off_by_mv double precision,
  touches integer NOT NULL,
  touch_again boolean NOT NULL,
  PRIMARY KEY (branch, job_id, stage, contact)
);
COMMENT ON TABLE second_probe.verdict IS 'One contact that was touched, as the opinion judges it.';
COMMENT ON COLUMN second_probe.verdict.branch IS 'which shop''s record it comes from';
COMMENT ON COLUMN second_probe.verdict.job_id IS 'job.id';
COMMENT ON COLUMN second_probe.verdict.stage IS 'which readings of the job were judged: before_repair or after_repair';
COMMENT ON COLUMN second_probe.verdict.contact IS 'the contact as drawn';
COMMENT ON COLUMN second_probe.verdict.verdict IS 'expected, short, low, high, open, unseen, unsteady or unread';
COMMENT ON COLUMN second_probe.verdict.odds_expected IS 'probability';
COMMENT ON COLUMN second_probe.verdict.odds_short IS 'probability';
COMMENT ON COLUMN second_probe.verdict.odds_low IS 'probability';
COMMENT ON COLUMN second_probe.verdict.odds_high IS 'probability';
COMMENT ON COLUMN second_probe.verdict.odds_open IS 'probability';
COMMENT ON COLUMN second_probe.verdict.drop_mv IS 'what was read, millivolts';
COMMENT ON COLUMN second_probe.verdict.reads_ol IS 'it read OL';
COMMENT ON COLUMN second_probe.verdict.healthy_mv IS 'the middle of what a healthy one reads here, millivolts';
COMMENT ON COLUMN second_probe.verdict.rests_on IS 'reference_boards, siblings or role';
COMMENT ON COLUMN second_probe.verdict.off_by_mv IS 'how far it is off, millivolts';
COMMENT ON COLUMN second_probe.verdict.touches IS 'how often it was touched';
COMMENT ON COLUMN second_probe.verdict.touch_again IS 'not settled before it was touched once more';

-- How each job ended, or stands: its tray, and what was said of it before and after the repair.
CREATE VIEW second_probe.outcome AS
SELECT
  job.branch, job.id AS job_id, job.tray, job.tray_since, job.opened_at,
  before.story, before.story_title, before.story_odds, before.decision, before.data_at_risk,
  (SELECT count(*) FROM second_probe.verdict AS one WHERE (one.branch, one.job_id) = (job.branch, job.id)
    AND one.stage = 'before_repair' AND one.verdict IN ('short', 'low', 'high', 'open', 'unsteady')) AS wrong_before,
  after.job_id IS NOT NULL AS was_read_after,
  (SELECT count(*) FROM second_probe.verdict AS one WHERE (one.branch, one.job_id) = (job.branch, job.id)
    AND one.stage = 'after_repair' AND one.verdict IN ('short', 'low', 'high', 'open', 'unsteady')) AS wrong_after
FROM second_probe.job
LEFT JOIN second_probe.opinion AS before
  ON (before.branch, before.job_id, before.stage) = (job.branch, job.id, 'before_repair')
LEFT JOIN second_probe.opinion AS after
  ON (after.branch, after.job_id, after.stage) = (job.branch, job.id, 'after_repair')
WHERE NOT job.is_removed AND job.reference_board_id IS NULL;
COMMENT ON VIEW second_probe.outcome IS 'How each owner''s job ended, or stands: its tray, the leading story, contacts that were wrong before and after the repair.';
