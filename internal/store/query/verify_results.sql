-- The results of the readings of the sessions of ledger rows $1, in order.
SELECT s.sequence, v.reading_id, v.stc_power_w, v.stc_power_u_w, v.u_reading, v.u_session, v.u_rig, v.u_model, v.u_common, v.u_gamma,
  v.u_low_light, v.effective_w_m2, v.cell_temperature_c, v.irradiance_origin, v.retention, v.retention_u, v.cover_class,
  v.rankable, v.result_reason, v.body::text
FROM session AS s
JOIN reading AS r ON r.session_id = s.id AND r.session_revision = s.revision
JOIN reading_result AS v ON v.reading_id = r.id
WHERE s.sequence = ANY ($1::bigint[])
ORDER BY s.sequence, r.position;
