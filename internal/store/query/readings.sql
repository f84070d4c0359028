-- A page of $1 readings of sessions as they were at sequence $2, after position $4 of
-- ($3, $5), in the order in which they were accepted. Filters: session $6, tester $7,
-- rig $8, panel models $9, arrangements $10, states $11, taken from $12 before $13, only
-- with a result $14.
SELECT r.id, r.session_id, r.session_revision, r.tester_id, r.rig_id, m.slug, u.name, r.label, r.kind, r.arrangement, r.state,
  r.taken_at, s.latitude_deg, s.longitude_deg, r.tilt_deg, r.azimuth_deg, r.voltage_v, r.current_a, r.power_w, r.poa_w_m2,
  r.rear_w_m2, r.ghi_w_m2, r.back_temperature_c, r.air_temperature_c, r.wind_speed_m_s, v.stc_power_w, v.stc_power_u_w,
  v.effective_w_m2, v.cell_temperature_c, v.irradiance_origin, v.retention, v.retention_u, v.result_reason, s.sequence,
  r.position
FROM session AS s
JOIN reading AS r ON r.session_id = s.id AND r.session_revision = s.revision
JOIN panel_model AS m ON m.id = r.panel_model_id
JOIN specimen AS u ON u.id = r.specimen_id
LEFT JOIN reading_result AS v ON v.reading_id = r.id
WHERE s.sequence <= $2 AND (s.superseded_sequence IS NULL OR s.superseded_sequence > $2)
  AND s.sequence >= COALESCE($3::bigint, 0) -- what the next line says, for the index
  AND ($3 IS NULL OR (s.sequence, s.id, r.position) > ($3, $5::text::uuid, $4::float8::integer))
  AND ($6::uuid IS NULL OR s.id = $6)
  AND ($7::uuid IS NULL OR s.tester_id = $7)
  AND ($8::uuid IS NULL OR s.rig_id = $8)
  AND ($9::text[] IS NULL OR m.slug = ANY ($9))
  AND ($10::text[] IS NULL OR r.arrangement = ANY ($10))
  AND (CASE WHEN $11::text[] IS NULL THEN s.state = 'accepted' ELSE r.state = ANY ($11) END)
  AND ($12::timestamptz IS NULL OR r.taken_at >= $12)
  AND ($13::timestamptz IS NULL OR r.taken_at < $13)
  AND (NOT $14::boolean OR v.stc_power_w IS NOT NULL)
ORDER BY s.sequence, s.id, r.position
LIMIT $1;
