-- The snapshot named $1.
SELECT name, created_at, sha256, manifest, sequence FROM snapshot WHERE name = $1;
