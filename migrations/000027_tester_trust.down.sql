-- 000027_tester_trust.down.sql
SET LOCAL lock_timeout = '5s';

DROP TABLE tester_trust;
