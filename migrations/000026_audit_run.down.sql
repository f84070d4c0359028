-- 000026_audit_run.down.sql
SET LOCAL lock_timeout = '5s';

DROP TABLE audit_run;
