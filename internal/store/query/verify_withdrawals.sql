-- What ledger rows $1 recorded of sessions that were withdrawn or restored.
SELECT sequence, session_id, session_revision, reason, decided_by
FROM withdrawal
WHERE sequence = ANY ($1::bigint[])
ORDER BY sequence;
