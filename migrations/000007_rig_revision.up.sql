-- 000007_rig_revision.up.sql: a rig as of one change. Old revisions stay for ever: a
-- session keeps the one it was measured with.
SET LOCAL lock_timeout = '5s';

CREATE TABLE rig_revision (
  rig_id        uuid NOT NULL REFERENCES rig (id),
  revision      integer NOT NULL CHECK (revision >= 1),
  kind          text NOT NULL CHECK (kind IN ('mppt_controller', 'pwm_controller', 'power_station', 'microinverter',
                  'electronic_load', 'resistor', 'other')),
  power_read_at text NOT NULL CHECK (power_read_at IN ('panel_side', 'battery_side', 'unknown')),
  body          jsonb NOT NULL, -- the whole record
  created_at    timestamptz NOT NULL,
  sequence      bigint NOT NULL CHECK (sequence > 0),
  PRIMARY KEY (rig_id, revision)
);
CREATE INDEX rig_revision_sequence ON rig_revision (sequence, rig_id);
