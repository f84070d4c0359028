-- 000012_reading_result.down.sql
SET LOCAL lock_timeout = '5s';

DROP TABLE reading_result;
