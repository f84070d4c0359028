-- The verdicts on findings $1 in order, with those that a finding retains from an earlier
-- revision of its session.
SELECT v.finding_id, v.finding_id, v.verdict, v.note, v.reviewer_id, v.decided_at, v.sequence
FROM verdict AS v
WHERE v.finding_id = ANY ($1::uuid[])
UNION ALL
SELECT f.id, v.finding_id, v.verdict, v.note, v.reviewer_id, v.decided_at, v.sequence
FROM finding AS f
JOIN verdict AS v ON v.finding_id = f.retains AND v.sequence < f.sequence
WHERE f.id = ANY ($1)
ORDER BY sequence, 1;
