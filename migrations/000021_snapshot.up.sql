-- 000021_snapshot.up.sql: all rankings frozen under a name, with the manifest that was
-- hashed. Rows live for ever and are never changed.
SET LOCAL lock_timeout = '5s';

CREATE TABLE snapshot (
  name       text PRIMARY KEY CHECK (name ~ '^[0-9]{4}-w[0-9]{2}(-[0-9]+)?$'),
  created_at timestamptz NOT NULL, -- as the manifest says
  sha256     text NOT NULL CHECK (sha256 ~ '^[0-9a-f]{64}$'), -- of the manifest
  manifest   bytea NOT NULL,       -- canonical JSON, as hashed
  sequence   bigint NOT NULL CHECK (sequence > 0)
);
CREATE INDEX snapshot_sequence ON snapshot (sequence, name);
