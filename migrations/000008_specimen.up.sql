-- 000008_specimen.up.sql: one physical unit of a panel model in a tester's hands. Made
-- by the first reading of it; rows live for ever.
SET LOCAL lock_timeout = '5s';

CREATE TABLE specimen (
  id             uuid PRIMARY KEY,
  tester_id      uuid NOT NULL REFERENCES tester (id),
  panel_model_id uuid NOT NULL REFERENCES panel_model (id),
  name           text NOT NULL CHECK (length(name) BETWEEN 1 AND 64), -- the tester's own, as unit-1
  CONSTRAINT specimen_name UNIQUE (tester_id, panel_model_id, name)
);
