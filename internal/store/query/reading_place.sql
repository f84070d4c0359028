-- Where reading $1 belongs.
SELECT session_id, session_revision, position FROM reading WHERE id = $1;
