-- The current revision of rig $1.
SELECT revision FROM rig WHERE id = $1;
