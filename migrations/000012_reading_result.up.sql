-- 000012_reading_result.up.sql: a reading normalised to standard test conditions. A row
-- is replaced when a nameplate or a method changes, so it lives as long as its method;
-- what was published stays in snapshots. Uncertainties are relative, one standard
-- deviation, by what shares them.
SET LOCAL lock_timeout = '5s';

CREATE TABLE reading_result (
  reading_id           uuid PRIMARY KEY REFERENCES reading (id),
  stc_power_w          double precision, -- NULL, like all below: no result, see result_reason
  stc_power_u_w        double precision CHECK (stc_power_u_w >= 0),
  u_reading            double precision CHECK (u_reading >= 0), -- relative, as the next six
  u_session            double precision CHECK (u_session >= 0),
  u_rig                double precision CHECK (u_rig >= 0),
  u_model              double precision CHECK (u_model >= 0),
  u_common             double precision CHECK (u_common >= 0),
  u_gamma              double precision CHECK (u_gamma >= 0),
  u_low_light          double precision CHECK (u_low_light >= 0),
  effective_w_m2       double precision,
  cell_temperature_c   double precision,
  irradiance_origin    text CHECK (irradiance_origin IN ('measured', 'from_ghi', 'clear_sky')),
  retention            double precision, -- NULL: not a covered or flat reading
  retention_u          double precision CHECK (retention_u >= 0),
  cover_class          text,
  rankable             boolean NOT NULL,
  result_reason        text,             -- NULL: there is a result
  body                 json,             -- the whole result; json, not jsonb, because nothing looks inside and it is quicker to store
  CHECK ((body IS NULL) = (stc_power_w IS NULL))
);
