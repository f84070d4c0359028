-- 000010_session_identity.up.sql: by what a session that arrives a second time is known:
-- the tester's own reference and the hash of its content. Rows live for ever, so that a
-- file uploaded again after years still counts once.
SET LOCAL lock_timeout = '5s';

CREATE TABLE session_identity (
  tester_id  uuid NOT NULL,
  kind       text NOT NULL CHECK (kind IN ('client_ref', 'content')),
  value      text NOT NULL,
  session_id uuid NOT NULL,
  PRIMARY KEY (tester_id, kind, value)
);
