-- 000001_tester.down.sql
SET LOCAL lock_timeout = '5s';

DROP TABLE tester;
