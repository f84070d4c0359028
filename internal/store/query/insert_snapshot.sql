-- Stores a snapshot's manifest under its name.
INSERT INTO snapshot (name, created_at, sha256, manifest, sequence)
VALUES ($1, $2, $3, $4, $5);
