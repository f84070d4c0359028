-- Notes that findings $1 became obsolete at sequence $2.
UPDATE finding SET obsolete_sequence = $2 WHERE id = ANY ($1::uuid[]);
