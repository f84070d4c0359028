-- When key $1 was revoked, with a lock, so that it is revoked once.
SELECT revoked_at FROM api_key WHERE id = $1 FOR UPDATE;
