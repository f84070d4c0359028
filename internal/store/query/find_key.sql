-- Key $1 with its secret's hash and its owner's trust.
SELECT k.id, k.secret_sha256, k.tester_id, k.role, k.name, k.created_at, k.expires_at, k.revoked_at,
       to_char(k.last_used_on, 'YYYY-MM-DD'), k.parent_id, t.trusted
FROM api_key AS k
JOIN tester AS t ON t.id = k.tester_id
WHERE k.id = $1;
