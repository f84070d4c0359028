-- 000025_finding_obsolete.down.sql
SET LOCAL lock_timeout = '5s';

DROP INDEX finding_obsolete;
ALTER TABLE finding DROP COLUMN obsolete_sequence;
