-- The states of the findings about revision $2 of session $1 and about its readings.
SELECT f.id, f.state
FROM finding AS f
WHERE f.session_id = $1 AND coalesce(f.session_revision, $2::integer) = $2
  AND (f.reading_id IS NULL
    OR EXISTS (SELECT FROM reading AS r WHERE r.id = f.reading_id AND r.session_revision = $2))
ORDER BY f.id;
