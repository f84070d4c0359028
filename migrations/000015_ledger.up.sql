-- 000015_ledger.up.sql: every accepted write, in commit order, without gaps, each row
-- holding the hash of the one before. Rows are never changed or deleted; they hold
-- hashes only, no personal data.
SET LOCAL lock_timeout = '5s';

CREATE TABLE ledger (
  sequence       bigint PRIMARY KEY CHECK (sequence > 0),
  at             timestamptz NOT NULL,
  kind           text NOT NULL CHECK (kind ~ '^[a-z][a-z_]*$'),
  subject_id     text NOT NULL, -- a uuid, a slug, a key's public part, or what many rows are: findings, results
  content_sha256 text NOT NULL CHECK (content_sha256 ~ '^[0-9a-f]{64}$'),
  prev_hash      text NOT NULL CHECK (prev_hash ~ '^[0-9a-f]{64}$'),
  hash           text NOT NULL CHECK (hash ~ '^[0-9a-f]{64}$')
);
CREATE INDEX ledger_subject ON ledger (subject_id, sequence);
