-- 000031_session_raw_comment.down.sql
SET LOCAL lock_timeout = '5s';

COMMENT ON COLUMN session.raw IS NULL;
