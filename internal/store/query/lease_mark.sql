-- Takes the oldest free mark for $1 seconds.
UPDATE dirty SET leased_until = now() + make_interval(secs => $1)
WHERE stale_group = (
  SELECT stale_group FROM dirty WHERE leased_until <= now() ORDER BY since, stale_group LIMIT 1 FOR UPDATE SKIP LOCKED
)
RETURNING stale_group, gen, since;
