-- 000031_session_raw_comment.up.sql: what session.raw holds. Migration 9 says byte for byte,
-- which cannot be: a place finer than allowed is never stored, so the submission is written
-- anew with the place rounded, and all submissions in the same way.
SET LOCAL lock_timeout = '5s';

COMMENT ON COLUMN session.raw IS 'JSON of the submission: every member and value as sent but for the place, which is rounded; '
  'order of members, white space, nulls and the spelling of numbers are not kept';
