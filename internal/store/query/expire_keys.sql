-- Deletes at most $1 idempotency records past their time, but none that a request is just
-- taking over: once that has committed, the record is past its time no more.
DELETE FROM idempotency
WHERE expires_at <= now() AND (tester_id, key) IN (
  SELECT tester_id, key FROM idempotency WHERE expires_at <= now() ORDER BY expires_at LIMIT $1 FOR UPDATE SKIP LOCKED
);
