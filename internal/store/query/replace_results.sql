-- Replaces what was made of readings; the arrays have one element a reading.
INSERT INTO reading_result (reading_id, stc_power_w, stc_power_u_w, u_reading, u_session, u_rig, u_model, u_common, u_gamma,
  u_low_light, effective_w_m2, cell_temperature_c, irradiance_origin, retention, retention_u, cover_class, rankable,
  result_reason, body)
SELECT r.id, r.stc_power_w, r.stc_power_u_w, r.u_reading, r.u_session, r.u_rig, r.u_model, r.u_common, r.u_gamma,
  r.u_low_light, r.effective_w_m2, r.cell_temperature_c, r.irradiance_origin, r.retention, r.retention_u, r.cover_class,
  r.rankable, r.result_reason, r.body::json
FROM unnest($1::uuid[], $2::float8[], $3::float8[], $4::float8[], $5::float8[], $6::float8[], $7::float8[], $8::float8[],
  $9::float8[], $10::float8[], $11::float8[], $12::float8[], $13::text[], $14::float8[], $15::float8[], $16::text[],
  $17::boolean[], $18::text[], $19::text[])
  AS r(id, stc_power_w, stc_power_u_w, u_reading, u_session, u_rig, u_model, u_common, u_gamma, u_low_light, effective_w_m2,
  cell_temperature_c, irradiance_origin, retention, retention_u, cover_class, rankable, result_reason, body)
ON CONFLICT (reading_id) DO UPDATE
SET stc_power_w = EXCLUDED.stc_power_w, stc_power_u_w = EXCLUDED.stc_power_u_w, u_reading = EXCLUDED.u_reading,
  u_session = EXCLUDED.u_session, u_rig = EXCLUDED.u_rig, u_model = EXCLUDED.u_model, u_common = EXCLUDED.u_common,
  u_gamma = EXCLUDED.u_gamma, u_low_light = EXCLUDED.u_low_light, effective_w_m2 = EXCLUDED.effective_w_m2,
  cell_temperature_c = EXCLUDED.cell_temperature_c, irradiance_origin = EXCLUDED.irradiance_origin,
  retention = EXCLUDED.retention, retention_u = EXCLUDED.retention_u, cover_class = EXCLUDED.cover_class,
  rankable = EXCLUDED.rankable, result_reason = EXCLUDED.result_reason, body = EXCLUDED.body;
