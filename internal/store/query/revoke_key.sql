-- Revokes key $1 at time $2.
UPDATE api_key SET revoked_at = $2 WHERE id = $1;
