-- Replaces rankings, but never by older ones; the arrays have one element a ranking.
INSERT INTO ranking (measure, key, computed_through, computed_at, sha256, body)
SELECT r.measure, r.key, r.computed_through, r.computed_at, r.sha256, r.body
FROM unnest($1::text[], $2::text[], $3::bigint[], $4::timestamptz[], $5::text[], $6::bytea[])
  AS r(measure, key, computed_through, computed_at, sha256, body)
ON CONFLICT (measure, key) DO UPDATE
SET computed_through = EXCLUDED.computed_through, computed_at = EXCLUDED.computed_at, sha256 = EXCLUDED.sha256, body = EXCLUDED.body
WHERE ranking.computed_through <= EXCLUDED.computed_through;
