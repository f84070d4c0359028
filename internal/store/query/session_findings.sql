-- The findings of revision $2 of session $1 and of its readings.
SELECT f.id, f.rule, f.severity, f.tester_id, f.rig_id, f.panel_model, f.session_id, f.reading_id, f.label, f.pointer, f.value,
  f.limit_value, f.relation, f.unit, f.reason, f.basis, f.state, f.priority, f.band, f.created_at, f.arrangement, f.cover_class
FROM finding AS f
WHERE f.session_id = $1 AND coalesce(f.session_revision, $2::integer) = $2
ORDER BY f.sequence, f.id;
