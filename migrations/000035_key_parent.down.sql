-- 000035_key_parent.down.sql
SET LOCAL lock_timeout = '5s';

ALTER TABLE api_key DROP COLUMN parent_id;
