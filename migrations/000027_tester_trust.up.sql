-- 000027_tester_trust.up.sql: when a tester was trusted or no longer, from the first row on,
-- so that the ledger's rows can be held against what was decided. Rows live for ever.
SET LOCAL lock_timeout = '5s';

CREATE TABLE tester_trust (
  tester_id uuid NOT NULL REFERENCES tester (id),
  trusted   boolean NOT NULL,
  sequence  bigint NOT NULL CHECK (sequence > 0),
  PRIMARY KEY (tester_id, sequence)
);
