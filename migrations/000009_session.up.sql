-- 000009_session.up.sql: one revision of a session, whole as submitted (place already
-- rounded) and the parts that lists filter by. Nothing submitted is ever changed or
-- deleted; only state, its reason and the two closing columns change, once.
SET LOCAL lock_timeout = '5s';

CREATE TABLE session (
  id                  uuid NOT NULL,
  revision            integer NOT NULL CHECK (revision >= 1),
  tester_id           uuid NOT NULL REFERENCES tester (id),
  rig_id              uuid NOT NULL,
  rig_revision        integer NOT NULL,
  state               text NOT NULL CHECK (state IN ('accepted', 'withdrawn', 'superseded')),
  state_reason        text NOT NULL CHECK (length(state_reason) <= 1000),
  reason_code         text NOT NULL CHECK (length(reason_code) <= 64), -- why this revision was made; empty for the first
  reason              text NOT NULL CHECK (length(reason) <= 1000),
  started_at          timestamptz NOT NULL,
  ended_at            timestamptz NOT NULL CHECK (ended_at >= started_at),
  submitted_at        timestamptz NOT NULL,
  latitude_deg        double precision NOT NULL CHECK (latitude_deg BETWEEN -90 AND 90),
  longitude_deg       double precision NOT NULL CHECK (longitude_deg BETWEEN -180 AND 180),
  altitude_m          double precision CHECK (altitude_m BETWEEN -430 AND 6000), -- NULL: not given
  client_ref          text CHECK (client_ref ~ '^[A-Za-z0-9._:-]{1,64}$'),       -- NULL: not given
  panel_models        text[] NOT NULL, -- slugs, each once, in order of the readings
  raw                 bytea NOT NULL,  -- the submission, byte for byte but for the place
  content_sha256      text NOT NULL CHECK (content_sha256 ~ '^[0-9a-f]{64}$'),
  method              text NOT NULL,   -- version of rules and models it was judged by
  model_revisions     jsonb NOT NULL,  -- slug to the revision it was judged with
  sequence            bigint NOT NULL CHECK (sequence > 0),
  superseded_sequence bigint CHECK (superseded_sequence > sequence), -- NULL: the current revision
  PRIMARY KEY (id, revision),
  CONSTRAINT session_rig FOREIGN KEY (rig_id, rig_revision) REFERENCES rig_revision (rig_id, revision)
);
-- A submission of 50 readings is about 20 kB; the quicker compression, where the server
-- was built with it.
DO $$
BEGIN
  ALTER TABLE session ALTER COLUMN raw SET COMPRESSION lz4;
EXCEPTION WHEN feature_not_supported THEN
  NULL;
END $$;
CREATE INDEX session_sequence ON session (sequence, id);
CREATE INDEX session_started ON session (started_at, id);
CREATE INDEX session_tester ON session (tester_id, sequence);
CREATE INDEX session_rig_used ON session (rig_id, sequence);
CREATE INDEX session_panel_models ON session USING gin (panel_models);
