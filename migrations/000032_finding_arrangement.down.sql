-- 000032_finding_arrangement.down.sql
SET LOCAL lock_timeout = '5s';

ALTER TABLE finding DROP COLUMN cover_class, DROP COLUMN arrangement;
