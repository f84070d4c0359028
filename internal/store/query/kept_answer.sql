-- The answer kept for key $2 of tester $1.
SELECT fingerprint, status, header, body
FROM idempotency
WHERE tester_id = $1 AND key = $2;
