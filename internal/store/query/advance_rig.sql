-- Moves rig $1 from revision $2 to the next.
UPDATE rig AS g SET revision = g.revision + 1
FROM rig_revision AS first
WHERE g.id = $1 AND g.revision = $2 AND first.rig_id = g.id AND first.revision = 1
RETURNING g.tester_id, first.created_at;
