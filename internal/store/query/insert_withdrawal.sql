-- Notes that $6 withdrew revision $3 of session $2, or restored it ($4), for reason $5 at
-- sequence $1.
INSERT INTO withdrawal (sequence, session_id, session_revision, restored, reason, decided_by) VALUES ($1, $2, $3, $4, $5, $6);
