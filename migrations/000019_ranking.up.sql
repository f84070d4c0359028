-- 000019_ranking.up.sql: the newest published ranking of each measure, as it is sent. A
-- row is replaced by the next publication; rankings to keep are in snapshots.
SET LOCAL lock_timeout = '5s';

CREATE TABLE ranking (
  measure          text NOT NULL,
  key              text NOT NULL, -- currency, cover class or component; empty: the default
  computed_through bigint NOT NULL CHECK (computed_through >= 0),
  computed_at      timestamptz NOT NULL,
  sha256           text NOT NULL,
  body             bytea NOT NULL,
  PRIMARY KEY (measure, key)
);
