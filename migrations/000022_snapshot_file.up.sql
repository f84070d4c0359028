-- 000022_snapshot_file.up.sql: the files of a snapshot. Rows live for ever and are never
-- changed. The foreign key waits for the commit, because a snapshot's row is written
-- last, with its sequence.
SET LOCAL lock_timeout = '5s';

CREATE TABLE snapshot_file (
  snapshot   text NOT NULL,
  name       text NOT NULL CHECK (name ~ '^[a-z]+\.[a-z]+$'),
  media_type text NOT NULL,
  size       bigint NOT NULL CHECK (size >= 0), -- bytes before compression
  sha256     text NOT NULL CHECK (sha256 ~ '^[0-9a-f]{64}$'), -- before compression
  content    bytea NOT NULL, -- gzip
  PRIMARY KEY (snapshot, name),
  CONSTRAINT snapshot_file_snapshot FOREIGN KEY (snapshot) REFERENCES snapshot (name) DEFERRABLE INITIALLY DEFERRED
);
ALTER TABLE snapshot_file ALTER COLUMN content SET STORAGE EXTERNAL; -- compressed already
