-- 000021_snapshot.down.sql
SET LOCAL lock_timeout = '5s';

DROP TABLE snapshot;
