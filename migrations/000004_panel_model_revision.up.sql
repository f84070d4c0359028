-- 000004_panel_model_revision.up.sql: what the maker states, as of one change. Old
-- revisions stay for ever: results name the one they were computed with.
SET LOCAL lock_timeout = '5s';

CREATE TABLE panel_model_revision (
  panel_model_id uuid NOT NULL REFERENCES panel_model (id),
  revision       integer NOT NULL CHECK (revision >= 1),
  maker          text NOT NULL CHECK (length(maker) BETWEEN 1 AND 100),
  model          text NOT NULL CHECK (length(model) BETWEEN 1 AND 100),
  technology     text NOT NULL CHECK (technology IN ('', 'mono_perc', 'topcon', 'heterojunction', 'back_contact', 'poly',
                   'cigs', 'amorphous', 'perovskite_tandem', 'unknown')),
  pmax_w         double precision CHECK (pmax_w > 0 AND pmax_w <= 10000), -- NULL: not stated
  mass_kg        double precision CHECK (mass_kg > 0 AND mass_kg <= 1000),
  cell_area_m2   double precision CHECK (cell_area_m2 > 0 AND cell_area_m2 <= 100),
  panel_area_m2  double precision CHECK (panel_area_m2 > 0 AND panel_area_m2 <= 100),
  body           jsonb NOT NULL, -- the whole record
  reason         text NOT NULL CHECK (length(reason) <= 1000),
  created_by     uuid NOT NULL,
  created_at     timestamptz NOT NULL,
  sequence       bigint NOT NULL CHECK (sequence > 0),
  PRIMARY KEY (panel_model_id, revision)
);
CREATE INDEX panel_model_revision_sequence ON panel_model_revision (sequence, panel_model_id);
