-- Bounds every wait for a lock in this transaction, so that a stuck writer does not
-- stop the others for ever.
SELECT set_config('lock_timeout', '2s', true);
