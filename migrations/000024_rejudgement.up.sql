-- 000024_rejudgement.up.sql: that a stored session was judged anew, because a nameplate was
-- corrected, and the hash of the results that took the place of those before. Rows live
-- for ever: the newest says what a session's results must hash to.
SET LOCAL lock_timeout = '5s';

CREATE TABLE rejudgement (
  session_id       uuid NOT NULL,
  session_revision integer NOT NULL,
  results_sha256   text NOT NULL CHECK (results_sha256 ~ '^[0-9a-f]{64}$'),
  sequence         bigint NOT NULL CHECK (sequence > 0),
  PRIMARY KEY (session_id, session_revision, sequence),
  CONSTRAINT rejudgement_session FOREIGN KEY (session_id, session_revision) REFERENCES session (id, revision)
);
CREATE INDEX rejudgement_sequence ON rejudgement (sequence);
