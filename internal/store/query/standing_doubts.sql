-- What doubts new readings of tester $1 with rig $2 at revision $4 of panel models $3 fall
-- under.
SELECT f.id, f.rule, f.severity, f.tester_id, f.rig_id, f.panel_model, f.session_id, f.reading_id, f.label, f.pointer, f.value,
  f.limit_value, f.relation, f.unit, f.reason, f.basis, f.state, f.priority, f.band, f.created_at, f.arrangement, f.cover_class
FROM finding AS f
WHERE f.session_id IS NULL AND f.reading_id IS NULL AND f.state <> 'obsolete'
  AND ((f.rig_id = $2 AND coalesce(f.tester_id, $1) = $1 AND coalesce(f.rig_revision_until, $4::integer) >= $4)
    OR (f.rig_id IS NULL AND f.panel_model = ANY ($3::text[]) AND coalesce(f.tester_id, $1) = $1)
    OR (f.rig_id IS NULL AND f.panel_model IS NULL AND f.tester_id = $1))
ORDER BY f.sequence, f.id;
