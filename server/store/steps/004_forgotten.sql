-- A change whose words about an owner were taken out of the log: the phone that made it may still send the whole.
ALTER TABLE change ADD COLUMN words_taken_out INTEGER NOT NULL DEFAULT 0 CHECK (words_taken_out IN (0, 1));
