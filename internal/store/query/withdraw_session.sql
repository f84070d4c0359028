-- Marks revision $2 of session $1 as withdrawn, for reason $3.
UPDATE session SET state = 'withdrawn', state_reason = $3 WHERE id = $1 AND revision = $2;
