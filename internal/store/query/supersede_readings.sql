-- Takes the readings of revision $2 of session $1 out of the rankings.
UPDATE reading SET state = 'superseded' WHERE session_id = $1 AND session_revision = $2;
