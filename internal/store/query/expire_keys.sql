-- Deletes at most $1 idempotency records past their time.
DELETE FROM idempotency
WHERE (tester_id, key) IN (SELECT tester_id, key FROM idempotency WHERE expires_at <= now() ORDER BY expires_at LIMIT $1);
