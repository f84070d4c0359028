-- 000015_ledger.down.sql
SET LOCAL lock_timeout = '5s';

DROP TABLE ledger;
