-- Finding $1.
SELECT f.id, f.rule, f.severity, f.tester_id, f.rig_id, f.panel_model, f.session_id, f.reading_id, f.label, f.pointer, f.value,
  f.limit_value, f.relation, f.unit, f.reason, f.basis, f.state, f.priority, f.band, f.created_at, f.arrangement, f.cover_class
FROM finding AS f
WHERE f.id = $1;
