-- Brings the readings of revision $2 of session $1 back, to be judged by the findings about
-- them.
UPDATE reading SET state = 'counted' WHERE session_id = $1 AND session_revision = $2;
