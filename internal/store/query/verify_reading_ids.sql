-- The readings that are in the rankings or held, of the sessions of ledger rows $1.
SELECT s.sequence, r.id
FROM session AS s
JOIN reading AS r ON r.session_id = s.id AND r.session_revision = s.revision
WHERE s.sequence = ANY ($1::bigint[]) AND r.state <> 'superseded'
ORDER BY s.sequence, r.id;
