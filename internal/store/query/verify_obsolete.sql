-- The findings that ledger rows $1 made obsolete, but for those of audits, which may come back.
SELECT obsolete_sequence, id
FROM finding
WHERE obsolete_sequence = ANY ($1::bigint[]) AND identity IS NULL
ORDER BY obsolete_sequence, id;
