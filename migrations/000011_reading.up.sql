-- 000011_reading.up.sql: one measured state of one specimen, as submitted, with the
-- session's weather and plane filled in. Only state changes. Rows live for ever.
-- The foreign key to session waits for the commit, because the session's row is
-- written last, with its sequence.
SET LOCAL lock_timeout = '5s';

CREATE TABLE reading (
  id                        uuid PRIMARY KEY,
  session_id                uuid NOT NULL,
  session_revision          integer NOT NULL,
  position                  integer NOT NULL CHECK (position BETWEEN 0 AND 499), -- in the submission
  tester_id                 uuid NOT NULL,
  rig_id                    uuid NOT NULL,
  panel_model_id            uuid NOT NULL,
  specimen_id               uuid NOT NULL,
  label                     text NOT NULL CHECK (length(label) BETWEEN 1 AND 64),
  kind                      text NOT NULL CHECK (kind IN ('operating_point', 'open_circuit', 'short_circuit', 'iv_sweep')),
  arrangement               text NOT NULL CHECK (arrangement IN ('tilted', 'flat', 'covered')),
  state                     text NOT NULL CHECK (state IN ('counted', 'held', 'excluded', 'superseded')),
  taken_at                  timestamptz NOT NULL,
  voltage_v                 double precision CHECK (voltage_v BETWEEN 0 AND 1500), -- this and all below, NULL: not measured
  current_a                 double precision CHECK (current_a BETWEEN 0 AND 100),
  power_w                   double precision CHECK (power_w BETWEEN 0 AND 10000),
  battery_voltage_v         double precision CHECK (battery_voltage_v BETWEEN 0 AND 1500),
  battery_current_a         double precision CHECK (battery_current_a BETWEEN 0 AND 1000),
  poa_w_m2                  double precision CHECK (poa_w_m2 BETWEEN 0 AND 2500),
  rear_w_m2                 double precision CHECK (rear_w_m2 BETWEEN 0 AND 1500),
  ghi_w_m2                  double precision CHECK (ghi_w_m2 BETWEEN 0 AND 2500),
  back_temperature_c        double precision CHECK (back_temperature_c BETWEEN -100 AND 250),
  air_temperature_c         double precision CHECK (air_temperature_c BETWEEN -100 AND 150), -- wide enough for degrees Fahrenheit by mistake
  wind_speed_m_s            double precision CHECK (wind_speed_m_s BETWEEN 0 AND 120),
  relative_humidity_percent double precision CHECK (relative_humidity_percent BETWEEN 0 AND 100),
  tilt_deg                  double precision CHECK (tilt_deg BETWEEN 0 AND 90),
  azimuth_deg               double precision CHECK (azimuth_deg BETWEEN 0 AND 360), -- clockwise from the north of the submission
  warm_up_min               double precision CHECK (warm_up_min BETWEEN 0 AND 1440),
  covered_share             double precision CHECK (covered_share BETWEEN 0 AND 1), -- NULL: not covered
  CONSTRAINT reading_label UNIQUE (session_id, session_revision, label),
  CONSTRAINT reading_session FOREIGN KEY (session_id, session_revision) REFERENCES session (id, revision) DEFERRABLE INITIALLY DEFERRED,
  CONSTRAINT reading_specimen FOREIGN KEY (specimen_id) REFERENCES specimen (id)
);
CREATE INDEX reading_panel_model ON reading (panel_model_id, state);
CREATE INDEX reading_rig ON reading (rig_id);
CREATE INDEX reading_tester ON reading (tester_id);
