-- Limits those of findings $1 to revisions of their rig up to $2 that are not limited yet and
-- on which no reviewer has decided, and tells which.
UPDATE finding SET rig_revision_until = $2
WHERE id = ANY ($1::uuid[]) AND rig_revision_until IS NULL AND state IN ('open', 'asked')
RETURNING id;
