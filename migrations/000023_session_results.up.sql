-- 000023_session_results.up.sql: the hash of the results that a session was accepted with.
-- The ledger's row of the session covers it; results that a later judgement replaced are
-- covered by that judgement's row. Empty: stored before results were hashed.
SET LOCAL lock_timeout = '5s';

ALTER TABLE session ADD COLUMN results_sha256 text NOT NULL DEFAULT '' CHECK (results_sha256 ~ '^([0-9a-f]{64})?$');
