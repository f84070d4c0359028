-- What ledger rows $1 recorded of new keys.
SELECT sequence, id, encode(secret_sha256, 'hex'), tester_id, role, name, expires_at, parent_id
FROM api_key
WHERE sequence = ANY ($1::bigint[])
ORDER BY sequence, id;
