-- 000029_finding_rig_until.down.sql
SET LOCAL lock_timeout = '5s';

DROP INDEX finding_limited;
ALTER TABLE finding DROP COLUMN limited_sequence, DROP COLUMN rig_revision_until;
