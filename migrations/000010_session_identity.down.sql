-- 000010_session_identity.down.sql
SET LOCAL lock_timeout = '5s';

DROP TABLE session_identity;
