-- Notes that findings $1 were limited at sequence $2.
UPDATE finding SET limited_sequence = $2 WHERE id = ANY ($1::uuid[]);
