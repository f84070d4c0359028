-- 000018_dirty.down.sql
SET LOCAL lock_timeout = '5s';

DROP TABLE dirty;
