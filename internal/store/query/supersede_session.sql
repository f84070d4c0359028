-- Closes revision $2 of session $1, replaced at sequence $3.
UPDATE session SET state = 'superseded', superseded_sequence = $3 WHERE id = $1 AND revision = $2;
