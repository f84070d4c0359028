-- 000006_rig.up.sql: what loads the panel and how it is measured, one row a rig. Its
-- description stands in rig_revision. Rows live for ever.
SET LOCAL lock_timeout = '5s';

CREATE TABLE rig (
  id         uuid PRIMARY KEY,
  tester_id  uuid NOT NULL REFERENCES tester (id),
  revision   integer NOT NULL CHECK (revision >= 1) -- the current one
);
CREATE INDEX rig_tester ON rig (tester_id, id);
