-- 000014_verdict.down.sql
SET LOCAL lock_timeout = '5s';

DROP TABLE verdict;
