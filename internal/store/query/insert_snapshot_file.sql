-- Stores a file of a snapshot that the same write stores.
INSERT INTO snapshot_file (snapshot, name, media_type, size, sha256, content)
VALUES ($1, $2, $3, $4, $5, $6);
