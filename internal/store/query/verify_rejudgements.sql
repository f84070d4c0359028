-- The sessions that ledger rows $1 recorded as judged anew.
SELECT sequence, session_id, session_revision, results_sha256
FROM rejudgement
WHERE sequence = ANY ($1::bigint[])
ORDER BY sequence, session_id;
