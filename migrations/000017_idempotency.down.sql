-- 000017_idempotency.down.sql
SET LOCAL lock_timeout = '5s';

DROP TABLE idempotency;
