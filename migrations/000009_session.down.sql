-- 000009_session.down.sql
SET LOCAL lock_timeout = '5s';

DROP TABLE session;
