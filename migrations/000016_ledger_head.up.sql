-- 000016_ledger_head.up.sql: the newest row of the ledger, locked by every write as its
-- last step. A PostgreSQL sequence will not do: its numbers are drawn before the commit,
-- so a reader could see 11 before 10. One row, which lives for ever.
SET LOCAL lock_timeout = '5s';

CREATE TABLE ledger_head (
  id       bigint PRIMARY KEY CHECK (id = 1),
  sequence bigint NOT NULL CHECK (sequence >= 0),
  at       timestamptz NOT NULL,
  hash     text NOT NULL CHECK (hash ~ '^[0-9a-f]{64}$')
);
INSERT INTO ledger_head (id, sequence, at, hash) VALUES (1, 0, '1970-01-01T00:00:00Z', repeat('0', 64));
