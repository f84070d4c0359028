-- Rig $1 at revision $2, or at the current one.
SELECT g.id, g.tester_id, v.revision, first.created_at, v.created_at, v.sequence, v.body
FROM rig AS g
JOIN rig_revision AS first ON first.rig_id = g.id AND first.revision = 1
JOIN rig_revision AS v ON v.rig_id = g.id AND v.revision = coalesce($2::integer, g.revision)
WHERE g.id = $1;
