-- 000011_reading.down.sql
SET LOCAL lock_timeout = '5s';

DROP TABLE reading;
