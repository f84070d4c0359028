-- A page of $1 snapshots at sequence $2 after ($3, $4), newest first.
SELECT name, created_at, sha256, manifest, sequence
FROM snapshot
WHERE sequence <= $2
  AND ($3::bigint IS NULL OR (sequence, name) < ($3, $4::text))
ORDER BY sequence DESC, name DESC
LIMIT $1;
