-- 000023_session_results.down.sql
SET LOCAL lock_timeout = '5s';

ALTER TABLE session DROP COLUMN results_sha256;
