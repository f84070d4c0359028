-- 000016_ledger_head.down.sql
SET LOCAL lock_timeout = '5s';

DROP TABLE ledger_head;
