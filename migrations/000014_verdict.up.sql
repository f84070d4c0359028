-- 000014_verdict.up.sql: a reviewer's decision on a finding. A later one replaces it in
-- effect, none is ever deleted.
SET LOCAL lock_timeout = '5s';

CREATE TABLE verdict (
  id          uuid PRIMARY KEY,
  finding_id  uuid NOT NULL REFERENCES finding (id),
  verdict     text NOT NULL CHECK (verdict IN ('keep', 'exclude', 'ask')),
  note        text NOT NULL CHECK (length(note) <= 2000),
  reviewer_id uuid NOT NULL,
  decided_at  timestamptz NOT NULL,
  sequence    bigint NOT NULL CHECK (sequence > 0)
);
CREATE INDEX verdict_finding ON verdict (finding_id, sequence);
