-- Removes mark $1 if its newest write is still $2; waits for a write that has touched it.
DELETE FROM dirty WHERE stale_group = $1 AND gen = $2;
