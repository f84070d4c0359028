-- 000022_snapshot_file.down.sql
SET LOCAL lock_timeout = '5s';

DROP TABLE snapshot_file;
