-- All readings with a result of arrangement $1 in current sessions that are not withdrawn,
-- in the order in which they were accepted.
SELECT r.id, s.id, s.revision, s.content_sha256, r.tester_id, s.rig_id, s.rig_revision, g.kind, m.slug, u.name, r.label,
  r.taken_at, s.latitude_deg, s.longitude_deg, r.arrangement, r.state, v.rankable,
  coalesce(v.irradiance_origin IN ('measured', 'from_ghi'), false), v.stc_power_w, v.stc_power_u_w, v.u_reading, v.u_session,
  v.u_rig, v.u_model, v.u_common, v.u_gamma, v.u_low_light, v.effective_w_m2, v.cell_temperature_c, r.kind,
  CASE WHEN r.arrangement <> 'tilted' THEN v.body -> 'retention' END
FROM session AS s
JOIN reading AS r ON r.session_id = s.id AND r.session_revision = s.revision
JOIN reading_result AS v ON v.reading_id = r.id
JOIN panel_model AS m ON m.id = r.panel_model_id
JOIN specimen AS u ON u.id = r.specimen_id
JOIN rig_revision AS g ON g.rig_id = s.rig_id AND g.revision = s.rig_revision
WHERE s.superseded_sequence IS NULL AND s.state = 'accepted' AND r.arrangement = $1 AND v.stc_power_w IS NOT NULL
ORDER BY s.sequence, r.position;
