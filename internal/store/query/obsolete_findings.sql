-- Marks findings $1 as no longer raised.
UPDATE finding SET state = 'obsolete' WHERE id = ANY ($1::uuid[]);
