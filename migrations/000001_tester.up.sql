-- 000001_tester.up.sql: who submits. Rows live for ever: leaving replaces the name by
-- an alias, because sessions stay.
SET LOCAL lock_timeout = '5s';

CREATE TABLE tester (
  id           uuid PRIMARY KEY,
  display_name text NOT NULL CHECK (length(display_name) BETWEEN 1 AND 100),
  trusted      boolean NOT NULL, -- false: sessions are held until three were kept
  profile_salt bytea CHECK (length(profile_salt) = 16), -- hashed with the profile into the ledger; NULL: destroyed when the tester left
  created_at   timestamptz NOT NULL,
  sequence     bigint NOT NULL CHECK (sequence > 0) -- in the ledger
);
-- Two names that differ by case only would be taken for one person.
CREATE UNIQUE INDEX tester_display_name ON tester (lower(display_name));
CREATE INDEX tester_sequence ON tester (sequence, id);
