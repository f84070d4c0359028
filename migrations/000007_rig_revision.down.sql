-- 000007_rig_revision.down.sql
SET LOCAL lock_timeout = '5s';

DROP TABLE rig_revision;
