-- All keys of tester $1, or of everybody for the zero uuid.
SELECT id, tester_id, role, name, created_at, expires_at, revoked_at, to_char(last_used_on, 'YYYY-MM-DD'), parent_id
FROM api_key
WHERE $1::uuid = '00000000-0000-0000-0000-000000000000' OR tester_id = $1
ORDER BY created_at, id;
