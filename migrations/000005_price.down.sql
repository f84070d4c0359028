-- 000005_price.down.sql
SET LOCAL lock_timeout = '5s';

DROP TABLE price;
