-- Gives readings $1 the states $2; the arrays have one element a reading.
UPDATE reading AS r SET state = s.state
FROM unnest($1::uuid[], $2::text[]) AS s(id, state)
WHERE r.id = s.id;
