-- The sessions that ledger rows $1 withdrew, as far as they are withdrawn.
SELECT l.sequence, s.id, s.revision, s.state_reason
FROM ledger AS l
JOIN session AS s ON s.id = CASE WHEN l.kind = 'session_withdrawn' THEN l.subject_id::uuid END AND s.state = 'withdrawn'
WHERE l.sequence = ANY ($1::bigint[])
ORDER BY l.sequence, s.revision;
