-- Frees mark $1, if it stands, for the next lease.
UPDATE dirty SET leased_until = '-infinity' WHERE stale_group = $1;
