-- Limits those of findings $1 to revisions of their rig up to $2 that are not limited yet and
-- in one of the states $3, and tells which.
UPDATE finding SET rig_revision_until = $2
WHERE id = ANY ($1::uuid[]) AND rig_revision_until IS NULL AND state = ANY ($3::text[])
RETURNING id;
