-- Claims key $2 of tester $1 for fingerprint $3, $4 days; a record past its time is
-- taken over. One row means claimed. A concurrent first request is waited for.
INSERT INTO idempotency (tester_id, key, fingerprint, status, header, body, expires_at)
VALUES ($1, $2, $3, 0, '{}', '', now() + make_interval(days => $4))
ON CONFLICT (tester_id, key) DO UPDATE
SET fingerprint = EXCLUDED.fingerprint, status = 0, header = '{}', body = '', expires_at = EXCLUDED.expires_at
WHERE idempotency.expires_at <= now();
