-- 000030_finding_retains.down.sql
SET LOCAL lock_timeout = '5s';

ALTER TABLE finding DROP COLUMN reopened_sequence, DROP COLUMN retains;
