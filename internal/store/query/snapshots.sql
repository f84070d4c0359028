-- A page of $1 snapshots at sequence $2 after ($3, $5), newest first; $4 is not used.
SELECT name, created_at, sha256, manifest, sequence
FROM snapshot
WHERE sequence <= $2
  AND ($3::bigint IS NULL OR (sequence, name) < ($3, $5::text))
  AND ($4::float8 IS NULL OR true)
ORDER BY sequence DESC, name DESC
LIMIT $1;
