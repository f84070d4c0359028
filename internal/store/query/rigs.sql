-- A page of $1 rigs at sequence $2 after ($3, $4), each at its newest revision of then.
-- Filters: tester $5, kinds $6.
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
WHERE ($3::bigint IS NULL OR (v.sequence, g.id) > ($3, $4::text::uuid))
  AND ($5::uuid IS NULL OR g.tester_id = $5)
  AND ($6::text[] IS NULL OR v.kind = ANY ($6))
ORDER BY v.sequence, g.id
LIMIT $1;
