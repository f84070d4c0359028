-- The newest rig of tester $1 whose current revision has the name $2, whatever its case.
SELECT g.id
FROM rig AS g
CROSS JOIN LATERAL (
  SELECT r.body, r.sequence
  FROM rig_revision AS r
  WHERE r.rig_id = g.id
  ORDER BY r.revision DESC
  LIMIT 1
) AS v
WHERE g.tester_id = $1 AND lower(coalesce(v.body ->> 'name', '')) = lower($2)
ORDER BY v.sequence DESC
LIMIT 1;
