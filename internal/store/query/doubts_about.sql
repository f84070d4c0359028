-- The findings about rig $1 or, if that is the zero id, panel model $2 as such that are not
-- obsolete and that no audit raised.
SELECT f.id, f.rule, f.severity, f.tester_id, f.rig_id, f.panel_model, f.session_id, f.reading_id, f.label, f.pointer, f.value,
  f.limit_value, f.relation, f.unit, f.reason, f.basis, f.state, f.priority, f.band, f.created_at, f.arrangement, f.cover_class
FROM finding AS f
WHERE f.session_id IS NULL AND f.reading_id IS NULL AND f.identity IS NULL AND f.state <> 'obsolete'
  AND ((f.rig_id = $1::uuid)
    OR ($1 = '00000000-0000-0000-0000-000000000000' AND f.rig_id IS NULL AND f.panel_model = $2::text AND f.tester_id IS NULL))
ORDER BY f.sequence, f.id;
