-- Stores a key by the hash of its secret.
INSERT INTO api_key (id, secret_sha256, tester_id, role, name, created_at, expires_at, sequence, parent_id)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9);
