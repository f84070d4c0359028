-- 000008_specimen.down.sql
SET LOCAL lock_timeout = '5s';

DROP TABLE specimen;
