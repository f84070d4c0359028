-- 000013_finding.down.sql
SET LOCAL lock_timeout = '5s';

DROP TABLE finding;
