-- Stores all readings of revision $2 of session $1 by tester $3 with rig $4 at once; the
-- arrays have one element a reading. A reading of an unknown panel model is left out,
-- so the number of rows tells.
INSERT INTO reading (session_id, session_revision, tester_id, rig_id, id, position, panel_model_id, specimen_id, label, kind,
  arrangement, state, taken_at, voltage_v, current_a, power_w, battery_voltage_v, battery_current_a, poa_w_m2, rear_w_m2,
  ghi_w_m2, back_temperature_c, air_temperature_c, wind_speed_m_s, relative_humidity_percent, tilt_deg, azimuth_deg,
  warm_up_min, covered_share)
SELECT $1, $2, $3, $4, r.id, r.number - 1, m.id, s.id, r.label, r.kind, r.arrangement, r.state, r.taken_at, r.voltage_v,
  r.current_a, r.power_w, r.battery_voltage_v, r.battery_current_a, r.poa_w_m2, r.rear_w_m2, r.ghi_w_m2,
  r.back_temperature_c, r.air_temperature_c, r.wind_speed_m_s, r.relative_humidity_percent, r.tilt_deg, r.azimuth_deg,
  r.warm_up_min, r.covered_share
FROM unnest($5::uuid[], $6::text[], $7::text[], $8::text[], $9::text[], $10::text[], $11::text[], $12::timestamptz[],
  $13::float8[], $14::float8[], $15::float8[], $16::float8[], $17::float8[], $18::float8[], $19::float8[], $20::float8[],
  $21::float8[], $22::float8[], $23::float8[], $24::float8[], $25::float8[], $26::float8[], $27::float8[], $28::float8[])
  WITH ORDINALITY AS r(id, slug, specimen, label, kind, arrangement, state, taken_at, voltage_v, current_a, power_w,
  battery_voltage_v, battery_current_a, poa_w_m2, rear_w_m2, ghi_w_m2, back_temperature_c, air_temperature_c,
  wind_speed_m_s, relative_humidity_percent, tilt_deg, azimuth_deg, warm_up_min, covered_share, number)
JOIN panel_model AS m ON m.slug = r.slug
JOIN specimen AS s ON s.tester_id = $3 AND s.panel_model_id = m.id AND s.name = r.specimen;
