-- Keeps the answer for the key that this transaction claimed.
UPDATE idempotency
SET status = $3, header = $4::text::jsonb, body = $5
WHERE tester_id = $1 AND key = $2;
