-- The current revision of session $1, locked against other changes.
SELECT revision, tester_id, state FROM session WHERE id = $1 AND superseded_sequence IS NULL FOR UPDATE;
