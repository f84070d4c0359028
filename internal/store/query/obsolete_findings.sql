-- Marks those of findings $1 as no longer raised that are in one of the states $2, and tells
-- which.
UPDATE finding SET state = 'obsolete' WHERE id = ANY ($1::uuid[]) AND state = ANY ($2::text[]) RETURNING id;
