-- At most $2 rows of the ledger after sequence $1.
SELECT sequence, at, kind, subject_id, content_sha256, prev_hash, hash
FROM ledger
WHERE sequence > $1
ORDER BY sequence
LIMIT $2;
