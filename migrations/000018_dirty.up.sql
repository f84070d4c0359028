-- 000018_dirty.up.sql: which groups of rankings are older than the data. A row lives from
-- the first write that touches its group until a refit has covered the last.
SET LOCAL lock_timeout = '5s';

CREATE TABLE dirty (
  stale_group  text PRIMARY KEY,  -- tilted, flat, covered, price
  since        timestamptz NOT NULL,
  gen          bigint NOT NULL CHECK (gen > 0), -- sequence of the newest write: unchanged means no write came in between
  leased_until timestamptz NOT NULL             -- in the past: free to take
) WITH (fillfactor = 50); -- updated by every write, in place
