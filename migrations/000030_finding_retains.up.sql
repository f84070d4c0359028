-- 000030_finding_retains.up.sql: what becomes of decisions when a session is revised. They
-- belong to a revision: where what they rested on is the same in the next one, its finding
-- retains the decision; else a finding about the session as such is open again.
SET LOCAL lock_timeout = '5s';

ALTER TABLE finding
  ADD COLUMN retains uuid,                                                -- the finding of an earlier revision whose verdicts so far count here too; NULL: none
  ADD COLUMN reopened_sequence bigint CHECK (reopened_sequence > 0); -- verdicts before this revision of the session no longer count; NULL: all do
