-- The findings that ledger rows $1 recorded.
SELECT f.sequence, f.id, f.identity, f.rule, f.severity, f.tester_id, f.rig_id, f.panel_model, f.session_id, f.session_revision,
  f.reading_id, f.label, f.pointer, f.value, f.limit_value, f.relation, f.unit, f.retains, f.reason, f.basis, f.priority, f.band,
  f.arrangement, f.cover_class
FROM finding AS f
WHERE f.sequence = ANY ($1::bigint[])
ORDER BY f.sequence, f.id;
