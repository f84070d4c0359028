-- Removes mark $1 if its newest write is still $2, else frees it.
WITH gone AS (
  DELETE FROM dirty WHERE stale_group = $1 AND gen = $2 RETURNING stale_group
)
UPDATE dirty SET leased_until = '-infinity' WHERE stale_group = $1 AND gen <> $2;
