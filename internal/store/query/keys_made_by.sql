-- Key $1 and all keys that it made, directly or through others.
WITH RECURSIVE made (id) AS (
  SELECT id FROM api_key WHERE id = $1
  UNION
  SELECT k.id FROM api_key AS k JOIN made AS m ON k.parent_id = m.id
)
SELECT k.id, k.tester_id, k.role, k.name, k.created_at, k.expires_at, k.revoked_at, to_char(k.last_used_on, 'YYYY-MM-DD'), k.parent_id
FROM api_key AS k
JOIN made AS m ON m.id = k.id
ORDER BY k.created_at, k.id;
