-- A page of $1 testers at sequence $2 after ($3, $4), oldest first.
SELECT id, display_name, trusted, created_at, sequence
FROM tester
WHERE sequence <= $2
  AND ($3::bigint IS NULL OR (sequence, id) > ($3, $4::text::uuid))
ORDER BY sequence, id
LIMIT $1;
