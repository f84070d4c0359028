-- 000002_api_key.up.sql: what a tester shows to write. Only a hash of the secret is
-- kept. Rows live for ever, revoked or expired: the ledger names them.
SET LOCAL lock_timeout = '5s';

CREATE TABLE api_key (
  id            text PRIMARY KEY CHECK (id ~ '^[0-9A-Za-z]{10}$'), -- the public part, drawn at random
  secret_sha256 bytea NOT NULL CHECK (length(secret_sha256) = 32),
  tester_id     uuid NOT NULL REFERENCES tester (id),
  role          text NOT NULL CHECK (role IN ('tester', 'reviewer', 'operator')),
  name          text NOT NULL CHECK (length(name) <= 100),
  created_at    timestamptz NOT NULL,
  expires_at    timestamptz NOT NULL CHECK (expires_at > created_at),
  revoked_at    timestamptz, -- NULL: not revoked
  last_used_on  date,        -- NULL: never; a day is enough to find forgotten keys
  sequence      bigint NOT NULL CHECK (sequence > 0)
);
CREATE INDEX api_key_tester ON api_key (tester_id, created_at, id);
