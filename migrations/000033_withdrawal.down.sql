-- 000033_withdrawal.down.sql: takes back 000033_withdrawal.up.sql.
SET LOCAL lock_timeout = '5s';

DROP TABLE withdrawal;
