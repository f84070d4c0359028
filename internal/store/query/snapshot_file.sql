-- File $2 of snapshot $1.
SELECT name, media_type, size, sha256, content FROM snapshot_file WHERE snapshot = $1 AND name = $2;
