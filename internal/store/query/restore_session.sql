-- Takes the withdrawal of revision $2 of session $1 back.
UPDATE session SET state = 'accepted', state_reason = '' WHERE id = $1 AND revision = $2;
