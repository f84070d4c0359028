-- 000006_rig.down.sql
SET LOCAL lock_timeout = '5s';

DROP TABLE rig;
