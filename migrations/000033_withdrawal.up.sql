-- 000033_withdrawal.up.sql: that a session was withdrawn, by whom and why, and that it was
-- restored. The session's row tells only how it stands now. Rows live for ever.
SET LOCAL lock_timeout = '5s';

CREATE TABLE withdrawal (
  sequence         bigint PRIMARY KEY CHECK (sequence > 0),
  session_id       uuid NOT NULL,
  session_revision integer NOT NULL,
  restored         boolean NOT NULL, -- that a withdrawal was taken back
  reason           text NOT NULL CHECK (length(reason) <= 2000),
  decided_by       uuid REFERENCES tester (id), -- NULL: before this was kept
  CONSTRAINT withdrawal_session FOREIGN KEY (session_id, session_revision) REFERENCES session (id, revision)
);
CREATE INDEX withdrawal_of_session ON withdrawal (session_id, sequence);
INSERT INTO withdrawal (sequence, session_id, session_revision, restored, reason)
SELECT l.sequence, s.id, s.revision, false, s.state_reason
FROM session AS s
JOIN ledger AS l ON l.kind = 'session_withdrawn' AND l.subject_id = s.id::text
WHERE s.state = 'withdrawn';
