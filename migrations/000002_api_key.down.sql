-- 000002_api_key.down.sql
SET LOCAL lock_timeout = '5s';

DROP TABLE api_key;
