-- The current revision of session $1.
SELECT max(revision) FROM session WHERE id = $1 HAVING count(*) > 0;
