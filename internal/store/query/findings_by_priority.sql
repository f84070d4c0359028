-- A page of $1 findings up to sequence $2 after ($3, $4), the most important first.
-- Filters as in findings.sql.
SELECT f.id, f.rule, f.severity, f.tester_id, f.rig_id, f.panel_model, f.session_id, f.reading_id, f.label, f.pointer, f.value,
  f.limit_value, f.relation, f.unit, f.reason, f.basis, f.state, f.priority, f.band, f.created_at, f.arrangement, f.cover_class,
  f.sequence
FROM finding AS f
WHERE f.sequence <= $2
  AND ($3::float8 IS NULL OR f.priority < $3 OR (f.priority = $3 AND f.id > $4::text::uuid))
  AND ($5::text[] IS NULL OR f.state = ANY ($5))
  AND ($6::text[] IS NULL OR f.severity = ANY ($6))
  AND ($7::text[] IS NULL OR f.rule = ANY ($7))
  AND ($8::uuid IS NULL OR f.session_id = $8)
  AND ($9::uuid IS NULL OR f.reading_id = $9)
  AND ($10::uuid IS NULL OR f.tester_id = $10)
  AND ($11::uuid IS NULL OR f.rig_id = $11)
  AND ($12::text IS NULL OR f.panel_model = $12)
ORDER BY f.priority DESC, f.id
LIMIT $1;
