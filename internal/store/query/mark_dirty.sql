-- Marks groups $1 as stale since $2 by the write with sequence $3, and wakes workers.
WITH marked AS (
  INSERT INTO dirty (stale_group, since, gen, leased_until)
  SELECT g, $2, $3, '-infinity' FROM unnest($1::text[]) AS g ORDER BY g
  ON CONFLICT (stale_group) DO UPDATE SET gen = EXCLUDED.gen
)
SELECT pg_notify('evensun_dirty', $3::bigint::text);
