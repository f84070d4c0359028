-- Gives findings $1 their time $2 and sequence $3.
UPDATE finding SET created_at = $2, sequence = $3 WHERE id = ANY ($1::text[]::uuid[]);
