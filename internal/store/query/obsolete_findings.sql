-- Marks those of findings $1 as no longer raised on which no reviewer has decided, and
-- tells which.
UPDATE finding SET state = 'obsolete' WHERE id = ANY ($1::uuid[]) AND state IN ('open', 'asked') RETURNING id;
