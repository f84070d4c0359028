-- A page of $1 rigs at sequence $2 after ($3, $5), each at its newest revision of then; $4
-- is not used. Filters: tester $6, kinds $7.
SELECT g.id, g.tester_id, v.revision, first.created_at, v.created_at, v.sequence, v.body
FROM rig AS g
JOIN rig_revision AS first ON first.rig_id = g.id AND first.revision = 1
CROSS JOIN LATERAL (
  SELECT r.revision, r.created_at, r.sequence, r.body, r.kind
  FROM rig_revision AS r
  WHERE r.rig_id = g.id AND r.sequence <= $2
  ORDER BY r.revision DESC
  LIMIT 1
) AS v
WHERE ($4::float8 IS NULL OR true)
  AND ($3::bigint IS NULL OR (v.sequence, g.id) > ($3, $5::text::uuid))
  AND ($6::uuid IS NULL OR g.tester_id = $6)
  AND ($7::text[] IS NULL OR v.kind = ANY ($7))
ORDER BY v.sequence, g.id
LIMIT $1;
