-- The verdicts on findings $1 in order.
SELECT finding_id, verdict, note, reviewer_id, decided_at, sequence
FROM verdict
WHERE finding_id = ANY ($1::uuid[])
ORDER BY sequence, id;
