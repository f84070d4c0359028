-- Stores findings at time $22 and sequence $23, those of a session for its revision $21; the
-- arrays have one element a finding.
INSERT INTO finding (id, identity, rule, severity, tester_id, rig_id, panel_model, session_id, session_revision, reading_id,
  label, pointer, value, limit_value, relation, unit, reason, basis, state, priority, band, created_at, sequence, retains,
  arrangement, cover_class)
SELECT f.id::uuid, f.identity, f.rule, f.severity, f.tester_id, f.rig_id, f.panel_model, f.session_id,
  CASE WHEN f.session_id IS NOT NULL THEN nullif($21::integer, 0) END, f.reading_id, f.label, f.pointer, f.value,
  f.limit_value, f.relation, f.unit, f.reason, f.basis::jsonb, f.state, f.priority, f.band, $22, $23, f.retains,
  f.arrangement, f.cover_class
FROM unnest($1::text[], $2::text[], $3::text[], $4::text[], $5::uuid[], $6::uuid[], $7::text[], $8::uuid[], $9::uuid[],
  $10::text[], $11::text[], $12::float8[], $13::float8[], $14::text[], $15::text[], $16::text[], $17::text[], $18::text[],
  $19::float8[], $20::text[], $24::uuid[], $25::text[], $26::text[])
  AS f(id, identity, rule, severity, tester_id, rig_id, panel_model, session_id, reading_id, label, pointer, value,
  limit_value, relation, unit, reason, basis, state, priority, band, retains, arrangement, cover_class);
