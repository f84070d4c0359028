-- Sets the state of finding $1.
UPDATE finding SET state = $2 WHERE id = $1;
