-- The files of snapshot $1, without their content.
SELECT name, media_type, size, sha256 FROM snapshot_file WHERE snapshot = $1 ORDER BY name;
