-- A page of $1 testers at sequence $2 after ($3, $5), oldest first; $4 is not used.
SELECT id, display_name, trusted, created_at, sequence
FROM tester
WHERE sequence <= $2
  AND ($3::bigint IS NULL OR (sequence, id) > ($3, $5::text::uuid))
  AND ($4::float8 IS NULL OR true)
ORDER BY sequence, id
LIMIT $1;
