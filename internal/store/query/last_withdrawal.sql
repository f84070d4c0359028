-- The newest withdrawal of session $1 and who decided on it.
SELECT sequence, decided_by FROM withdrawal WHERE session_id = $1 AND NOT restored ORDER BY sequence DESC LIMIT 1;
