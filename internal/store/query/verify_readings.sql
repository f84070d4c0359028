-- The readings of the sessions of ledger rows $1, in order.
SELECT s.sequence, r.id, r.position, m.slug, u.name, r.label, r.kind, r.arrangement, r.taken_at, r.voltage_v, r.current_a, r.power_w,
  r.battery_voltage_v, r.battery_current_a, r.poa_w_m2, r.rear_w_m2, r.ghi_w_m2, r.back_temperature_c, r.air_temperature_c,
  r.wind_speed_m_s, r.relative_humidity_percent, r.tilt_deg, r.azimuth_deg, r.warm_up_min, r.covered_share
FROM session AS s
JOIN reading AS r ON r.session_id = s.id AND r.session_revision = s.revision
JOIN panel_model AS m ON m.id = r.panel_model_id
JOIN specimen AS u ON u.id = r.specimen_id
WHERE s.sequence = ANY ($1::bigint[])
ORDER BY s.sequence, r.position;
