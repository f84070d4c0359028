-- Notes that findings $1 were opened again at sequence $2.
UPDATE finding SET reopened_sequence = $2 WHERE id = ANY ($1::uuid[]);
