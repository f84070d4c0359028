-- 000026_audit_run.up.sql: what an audit changed, as its row in the ledger covers it: the
-- findings themselves may change again with the next audit. Rows live for ever.
SET LOCAL lock_timeout = '5s';

CREATE TABLE audit_run (
  sequence         bigint PRIMARY KEY CHECK (sequence > 0),
  computed_through bigint NOT NULL CHECK (computed_through >= 0), -- of the data it judged
  obsolete         uuid[] NOT NULL, -- findings that it raised no more
  reopened         uuid[] NOT NULL  -- obsolete findings that it raised again
);
