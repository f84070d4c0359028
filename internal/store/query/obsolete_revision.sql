-- Marks those of the findings about revision $2 of session $1 as no longer raised that no
-- audit raised and that are in one of the states $3, and tells which.
UPDATE finding SET state = 'obsolete'
WHERE session_id = $1 AND session_revision = $2 AND identity IS NULL AND state = ANY ($3::text[])
RETURNING id;
