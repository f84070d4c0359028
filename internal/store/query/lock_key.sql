-- Key $1 with a lock, so that it is revoked once and makes no key after that.
SELECT id, tester_id, role, name, created_at, expires_at, revoked_at, to_char(last_used_on, 'YYYY-MM-DD'), parent_id
FROM api_key
WHERE id = $1
FOR UPDATE;
