-- The keys that ledger rows $1 revoked, at the time that those rows say.
SELECT l.sequence, k.id
FROM ledger AS l
JOIN api_key AS k ON k.id = l.subject_id AND k.revoked_at = l.at
WHERE l.sequence = ANY ($1::bigint[])
ORDER BY l.sequence;
