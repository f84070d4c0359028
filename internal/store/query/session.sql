-- Session $1 at revision $2, or at the current one.
SELECT id, revision, state, state_reason, tester_id, rig_id, rig_revision, submitted_at, sequence, content_sha256, method, raw
FROM session
WHERE id = $1 AND (revision = $2::integer OR ($2 IS NULL AND superseded_sequence IS NULL));
