-- 000024_rejudgement.down.sql
SET LOCAL lock_timeout = '5s';

DROP TABLE rejudgement;
